import { request } from 'node:http'
import { connect } from 'node:net'
import { afterEach, describe, expect, test } from 'vitest'
import { fallbackPage } from '../../src/channels/web-notice.ts'
import { webchat } from '../../src/channels/webchat/webchat.ts'
import { clinicianPages } from '../../src/http/clinician-pages.ts'
import { type Server, type ServerPorts, serveHttp } from '../../src/http/server.ts'
import { screenWording } from '../support/screen-words.ts'
import { webClinic } from '../support/web-clinic.ts'
import { foot, webFamily } from '../support/web-family.ts'

const servers: Server[] = []
afterEach(async () => {
  await Promise.all(servers.splice(0).map(server => server.stop()))
})

async function start(over: Partial<ServerPorts> = {}) {
  const family = webFamily()
  const channel = webchat(family.ports)
  const clinicians = clinicianPages(webClinic().ports)
  const faults: unknown[] = []
  const server = await serveHttp({
    family: channel,
    mounts: [
      { path: '/p/', fetch: clinicians.fetch },
      { path: '/board', fetch: clinicians.fetch },
    ],
    health: async () => ({ ok: true, store: 'ok' }),
    busySeconds: () => undefined,
    fallback: await fallbackPage({ spoken: [{ wording: screenWording, language: 'en' }], foot, demonstration: true }),
    onFault: fault => faults.push(fault),
    port: 0,
    stopWithinMs: 50,
    ...over,
  })
  servers.push(server)
  return {
    server,
    family,
    channel,
    faults,
    at: (path: string, init?: RequestInit) => fetch(`http://127.0.0.1:${server.port}${path}`, init),
  }
}

describe('one server', () => {
  test('gives each path to the part that owns it', async () => {
    const { at } = await start()
    expect(await (await at('/')).text()).toContain('The tube is out')
    expect(await (await at('/p/token-good')).text()).toContain('Go to hospital')
    expect(await (await at('/board')).text()).toContain('Tonight')
    expect(await (await at('/boards')).text()).toContain(`tel:${foot.emergency.number}`)
    expect(await (await at('/health')).json()).toEqual({ ok: true, store: 'ok' })
  })

  test('ends a request that comes a byte at a time, by its headers and by its body, and answers others meanwhile', async () => {
    const limits = { headersTimeout: 300, requestTimeout: 600, connectionsCheckingInterval: 50 }
    const { server, at, faults } = await start({ limits })
    const head = `POST /say HTTP/1.1\r\nHost: localhost\r\nOrigin: http://localhost\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 900\r\n`
    const slow = (first: string) =>
      new Promise<string>(resolve => {
        const socket = connect(server.port, '127.0.0.1')
        let got = ''
        const drip = setInterval(() => socket.write('a'), 40)
        socket.setEncoding('utf8').on('data', text => (got += text))
        socket.on('error', () => undefined)
        socket.on('close', () => {
          clearInterval(drip)
          resolve(got)
        })
        socket.write(first)
      })
    const [byHeaders, byBody, other] = await Promise.all([slow(head), slow(`${head}\r\n`), at('/')])
    expect(other.status).toBe(200)
    // RFC 9110, 15.5.9: 408 Request Timeout.
    expect(byHeaders).toMatch(/^HTTP\/1\.1 408 /)
    expect(byBody).toMatch(/^(?:HTTP\/1\.1 408 |$)/)
    expect(faults).toEqual([])
  })

  test('says 503 on the health page when the bot is not well', async () => {
    const { at } = await start({ health: async () => ({ ok: false }) })
    expect((await at('/health')).status).toBe(503)
  })

  test('takes a form post from its own page over the wire and refuses one that lacks an Origin', async () => {
    const { at, server, family } = await start()
    const cookie = (await at('/')).headers.get('set-cookie')?.split(';')[0] ?? ''
    const origin = `http://127.0.0.1:${server.port}`
    const body = 'text=help'
    const headers = { cookie, 'content-type': 'application/x-www-form-urlencoded' }
    expect(
      (await at('/say', { method: 'POST', body, redirect: 'manual', headers: { ...headers, origin } })).status,
    ).toBe(303)
    expect(await statusOfBarePost(server.port, body, headers)).toBe(403)
    expect(family.received).toHaveLength(1)
  })

  test('a line that takes nothing more says when to come back, with the numbers', async () => {
    const { at } = await start({ busySeconds: () => 2.5 })
    const response = await at('/say', { method: 'POST', body: 'text=help' })
    expect(response.status).toBe(503)
    expect(response.headers.get('retry-after')).toBe('3')
    expect(await response.text()).toContain(`tel:${foot.clinic.number}`)
    expect((await at('/')).status).toBe(200)
  })

  test('a line that takes nothing more from families takes a clinician’s press all the same', async () => {
    const { at, server } = await start({ busySeconds: () => 5 })
    const headers = { origin: `http://127.0.0.1:${server.port}`, 'content-type': 'application/x-www-form-urlencoded' }
    const press = await at('/p/token-good', { method: 'POST', body: 'do=nothing-of-the-kind', headers })
    expect(press.status).not.toBe(503)
    expect(press.headers.get('retry-after')).toBeNull()
  })

  test('a part that throws leaves the fixed page with the numbers, never a trace of the fault', async () => {
    const broken = {
      fetch: async () => {
        throw new TypeError('secret detail')
      },
    }
    const { at, faults } = await start({ family: broken })
    const response = await at('/some-secret-path')
    expect(response.status).toBe(500)
    const markup = await response.text()
    expect(markup).toContain(`tel:${foot.emergency.number}`)
    expect(markup).toContain('never replaces')
    expect(markup).not.toMatch(/secret|\.ts:|TypeError/)
    expect(faults).toEqual([{ name: 'TypeError', where: '/' }])
  })

  test('stops in time although an event stream is open, and frees the port', async () => {
    const { at, server, channel } = await start()
    const cookie = (await at('/')).headers.get('set-cookie')?.split(';')[0] ?? ''
    const stream = await at('/stream', { headers: { cookie } })
    expect(stream.status).toBe(200)
    await channel.stop()
    await server.stop()
    servers.length = 0
    await expect(at('/')).rejects.toThrow()
  })

  test('a port that is taken is refused at the start', async () => {
    const { server } = await start()
    await expect(start({ port: server.port })).rejects.toThrow(/EADDRINUSE/)
  })
})

/** A post without an Origin header, as no browser sends it; `fetch` would add its own headers. */
function statusOfBarePost(port: number, body: string, headers: Record<string, string>): Promise<number | undefined> {
  return new Promise((resolve, reject) => {
    const post = request({ port, host: '127.0.0.1', path: '/say', method: 'POST', headers }, response => {
      response.resume()
      resolve(response.statusCode)
    })
    post.on('error', reject)
    post.end(body)
  })
}
