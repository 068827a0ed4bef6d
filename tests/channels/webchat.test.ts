import { describe, expect, test } from 'vitest'
import { chatOf } from '../../src/channels/webchat/cookie.ts'
import { webchat } from '../../src/channels/webchat/webchat.ts'
import { instant } from '../../src/time/instant.ts'
import { foot, type WebFamily, webFamily } from '../support/web-family.ts'
import { nonceOn, ORIGIN, visitor } from '../support/web-visitor.ts'

function open(over: Parameters<typeof webFamily>[0] = {}) {
  const family = webFamily(over)
  const channel = webchat(family.ports)
  return { family, channel, parent: visitor(channel.fetch) }
}

/** Chat id of a visitor, as the store has it. */
const chatIdOf = (cookie: string): string => chatOf(cookie.split('=')[1] ?? '')

/** Both numbers as tap-to-call links (RFC 3966), the caution and the demonstration banner. */
function expectFoot(markup: string): void {
  expect(markup).toContain(`href="tel:${foot.emergency.number}"`)
  expect(markup).toContain(`href="tel:${foot.clinic.number}"`)
  expect(markup).toContain('never replaces the clinic')
  expect(markup).toContain('not approved for care')
}

describe('the first page', () => {
  test('holds the holding advice, both numbers and the concern buttons before anything is sent', async () => {
    const { parent, family } = open()
    const markup = await (await parent.get('/')).text()
    const advice = family.ports.firstAdvice().map(part => part.text)
    for (const text of advice) expect(markup).toContain(text)
    expect(markup.indexOf(advice[0] ?? '')).toBeLessThan(markup.indexOf('name="concern"'))
    expect(markup).toContain('value="tube-out"')
    expect(markup).toContain('<textarea')
    expectFoot(markup)
    expect(family.calls).toEqual([])
  })

  test('with its script is at most 60 kB', async () => {
    const { parent } = open()
    const sizes = await Promise.all(
      ['/', '/chat.js', '/worker.js'].map(async path => (await parent.get(path)).arrayBuffer()),
    )
    expect(sizes.reduce((sum, body) => sum + body.byteLength, 0)).toBeLessThanOrEqual(60 * 1024)
  })

  test('gives a random cookie that scripts cannot read, and keeps the same one afterwards', async () => {
    const { parent } = open()
    const first = (await parent.get('/')).headers.get('set-cookie')
    expect(first).toMatch(/^chat=[\w-]{16,}; Path=\/; Max-Age=\d+; HttpOnly; SameSite=Lax$/)
    const again = (await parent.get('/')).headers.get('set-cookie')
    expect(again?.split(';')[0]).toBe(first?.split(';')[0])
  })

  test('over https the cookie is Secure and bound to the host, and the browser is told to stay with https', async () => {
    const { channel } = open({ origin: 'https://feeding.example' })
    const response = await visitor(channel.fetch, 'https://feeding.example').get('/')
    expect(response.headers.get('set-cookie')).toMatch(/^__Host-chat=.*; HttpOnly; SameSite=Lax; Secure$/)
    // OWASP ASVS 5.0 V3.4.1: at least one year.
    expect(response.headers.get('strict-transport-security')).toBe('max-age=31536000')
  })

  test('no stored chat id opens the chat', async () => {
    const { parent, family } = open()
    const page = await (await parent.get('/')).text()
    await parent.post('/say', { concern: 'tube-out', nonce: nonceOn(page) })
    const stored = family.received[0]?.chat ?? ''
    expect(parent.cookie).not.toContain(stored)
    parent.cookie = `chat=${stored}`
    expect(await (await parent.get('/')).text()).toContain('name="concern"')
  })
})

describe('headers', () => {
  // OWASP ASVS 5.0 V3.4.1–V3.4.6, from memory of the published list.
  test.each(['/', '/nowhere', '/handover', '/offline', '/log', '/stream', '/chat.js'])(
    '%s may load nothing from elsewhere, is never kept and never framed',
    async path => {
      const { parent, channel } = open()
      const bare = visitor(channel.fetch)
      const response = path === '/stream' ? await bare.get(path) : await parent.get(path)
      const policy = response.headers.get('content-security-policy') ?? ''
      expect(policy).toContain("default-src 'none'")
      expect(policy).toContain("frame-ancestors 'none'")
      expect(policy).toContain("base-uri 'none'")
      expect(policy).not.toMatch(/unsafe|https?:|\*/)
      expect(response.headers.get('x-content-type-options')).toBe('nosniff')
      expect(response.headers.get('cache-control')).toBe(path === '/chat.js' ? 'no-cache' : 'no-store')
      expect(response.headers.get('referrer-policy')).toBe('same-origin')
    },
  )

  test('each page has its own nonce, on its style and its script', async () => {
    const { parent } = open()
    const nonces = await Promise.all(
      [1, 2].map(async () => {
        const response = await parent.get('/')
        const nonce = /'nonce-([^']+)'/.exec(response.headers.get('content-security-policy') ?? '')?.[1] ?? 'none'
        const markup = await response.text()
        expect(markup).toContain(`<style nonce="${nonce}">`)
        expect(markup).toContain(`<script nonce="${nonce}" src="/chat.js" defer>`)
        expect(markup.match(/<script/g)).toHaveLength(1)
        expect(markup).not.toMatch(/\sstyle="|\son\w+="/)
        return nonce
      }),
    )
    expect(new Set(nonces).size).toBe(2)
  })
})

describe('sending', () => {
  test('a form post is taken and answered by a redirect to what is new', async () => {
    const { parent, family } = open()
    const nonce = nonceOn(await (await parent.get('/')).text())
    const response = await parent.post('/say', { concern: 'tube-out', nonce })
    expect(response.status).toBe(303)
    expect(response.headers.get('location')).toBe('/#now')
    expect(family.received).toMatchObject([
      { channel: 'web', body: { kind: 'choice', serial: 0, values: ['tube-out'] } },
    ])
    const markup = await (await parent.get('/')).text()
    expect(markup).toContain('Fighting to breathe')
    expect(markup).toContain('Check for answers')
    expectFoot(markup)
  })

  test('the same tap twice is one message; another tap on the same page is another', async () => {
    const { parent, family } = open()
    const nonce = nonceOn(await (await parent.get('/')).text())
    await parent.post('/say', { serial: '1', value: 'none', nonce })
    await parent.post('/say', { serial: '1', value: 'none', nonce })
    await parent.post('/say', { serial: '1', value: 'breathing', nonce })
    const ids = family.calls.map(incoming => incoming.deliveryId)
    expect(ids[1]).toBe(ids[0])
    expect(ids[2]).not.toBe(ids[0])
  })

  test('the same tap and nonce from script and from the form is one message', async () => {
    const { parent, family } = open()
    const nonce = nonceOn(await (await parent.get('/')).text())
    await parent.post('/say', { serial: '1', value: ['replace', 'hold-open'], nonce })
    await parent.postJson('/say', { serial: 1, values: ['replace', 'hold-open'], nonce })
    expect(family.calls[1]?.deliveryId).toBe(family.calls[0]?.deliveryId)
    expect(family.calls[1]?.body).toEqual({ kind: 'choice', serial: 1, values: ['replace', 'hold-open'] })
  })

  test('two families with the same nonce are two messages', async () => {
    const { family, channel } = open()
    for (const parent of [visitor(channel.fetch), visitor(channel.fetch)]) {
      await parent.get('/')
      await parent.post('/say', { text: 'help', nonce: 'same-nonce-12345' })
    }
    expect(new Set(family.received.map(incoming => incoming.deliveryId)).size).toBe(2)
  })

  test('a tap made without signal carries when it was made, and never a later time than now', async () => {
    const { parent, family } = open()
    await parent.get('/')
    await parent.postJson('/say', { text: 'we have left', nonce: 'nonce-aaaaaa', agoMs: 90_000 })
    const [incoming] = family.received
    expect(incoming?.madeAt).toBe((incoming?.at ?? 0) - 90_000)
    // A telephone's odd clock costs no family its message: it counts as made now.
    expect((await parent.postJson('/say', { text: 'x', nonce: 'nonce-bbbbbb', agoMs: -5 })).status).toBe(200)
    expect(family.received[1]).not.toHaveProperty('madeAt')
  })

  test('several ticks and Done are one choice; Done with nothing ticked says what is missing and sends nothing', async () => {
    const { parent, family } = open()
    await reach(parent, 3)
    const before = family.received.length
    const page = await (await parent.get('/')).text()
    expect(page).toContain('type="checkbox"')
    const empty = await parent.post('/say', { serial: '3', nonce: nonceOn(page) })
    expect(empty.status).toBe(422)
    const markup = await empty.text()
    expect(markup).toContain('Nothing was ticked')
    expectFoot(markup)
    expect(family.received.length).toBe(before)
    await parent.post('/say', { serial: '3', value: ['replace', 'ph-check'], nonce: nonceOn(page) })
    expect(family.received.at(-1)?.body).toEqual({ kind: 'choice', serial: 3, values: ['replace', 'ph-check'] })
  })

  test('the danger question acts on the first tap: buttons only, none of them preselected, the quiet answers apart and last', async () => {
    const { parent } = open()
    await reach(parent, 1)
    const markup = await (await parent.get('/')).text()
    expect(markup).not.toContain('type="checkbox"')
    expect(markup).not.toMatch(/\b(checked|selected)\b/)
    const apart = markup.indexOf('class="apart"')
    expect(markup.indexOf('value="rash-no-fade"')).toBeLessThan(apart)
    expect(markup.indexOf('value="none"')).toBeGreaterThan(apart)
    expect(markup.indexOf('value="not-sure"')).toBeGreaterThan(apart)
  })

  test('controls and changes carry what they are about', async () => {
    const { parent, family } = open()
    await reach(parent, 2)
    const page = await (await parent.get('/')).text()
    const nonce = nonceOn(page)
    await parent.post('/say', { control: 'change', subject: 'danger-signs', nonce })
    await parent.post('/say', { control: 'person', nonce })
    expect(family.received.slice(-2).map(incoming => incoming.body)).toEqual([
      { kind: 'control', control: 'change', subject: 'danger-signs' },
      { kind: 'control', control: 'person' },
    ])
    const line = page.slice(page.indexOf('class="line family" data-key="line-2"'))
    expect(line.slice(0, line.indexOf('</article>'))).toContain('name="subject" value="danger-signs"')
  })

  test('100,000 characters are passed on whole, so that the bot answers them', async () => {
    const { parent, family } = open()
    await parent.get('/')
    const text = 'ü'.repeat(100_000)
    expect((await parent.post('/say', { text, nonce: 'nonce-cccccc' })).status).toBe(303)
    expect(family.received[0]?.body).toEqual({ kind: 'text', text })
  })

  test('what the bot refuses as too busy is said with the numbers and when to try again', async () => {
    const { parent, family } = open()
    await parent.get('/')
    family.failWith(Object.assign(new Error('queue full'), { retryAfterSeconds: 4.2 }))
    const response = await parent.post('/say', { text: 'help', nonce: 'nonce-dddddd' })
    expect(response.status).toBe(503)
    expect(response.headers.get('retry-after')).toBe('5')
    expectFoot(await response.text())
  })
})

describe('every refusal has plain words and the numbers', () => {
  const cases: [string, number, (parent: ReturnType<typeof visitor>, family: WebFamily) => Promise<Response>][] = [
    ['an unknown address', 404, parent => parent.get('/expired/abc')],
    ['a post from another site', 403, parent => parent.post('/say', { text: 'x' }, { origin: 'https://evil.example' })],
    ['a post to nowhere', 404, parent => parent.post('/nowhere', { text: 'x' })],
    ['a body over 64 kB elsewhere', 413, parent => parent.post('/nowhere', { text: 'x'.repeat(64 * 1024) })],
    ['a body over 1 MB', 413, parent => parent.post('/say', { text: 'x'.repeat(1024 * 1024) })],
    ['fields that say nothing', 400, parent => parent.post('/say', { nonce: 'nonce-eeeeee' })],
    ['an unknown control', 400, parent => parent.post('/say', { control: 'launch' })],
    ['a serial that is no number', 400, parent => parent.post('/say', { serial: 'one', value: 'none' })],
    ['a body of another kind', 400, parent => parent.post('/say', { text: 'x' }, { 'content-type': 'text/plain' })],
    [
      'a fault of our own',
      500,
      (parent, family) => {
        family.failWith(new Error('secret detail at /srv/app/x.ts:12'))
        return parent.post('/say', { text: 'help' })
      },
    ],
  ]
  test.each(cases)('%s', async (_, status, request) => {
    const { parent, family } = open()
    await parent.get('/')
    const response = await request(parent, family)
    expect(response.status).toBe(status)
    const markup = await response.text()
    expectFoot(markup)
    expect(markup).not.toContain('secret detail')
    expect(markup).not.toMatch(/at \w+ \(|\.ts:/)
    expect(family.received).toEqual([])
  })

  test('a post without our cookie is not taken, and says so', async () => {
    const { channel, family } = open()
    const response = await visitor(channel.fetch).post('/say', { text: 'help' })
    expect(response.status).toBe(400)
    expectFoot(await response.text())
    expect(family.calls).toEqual([])
  })
})

describe('a post counts only from our own pages (OWASP ASVS 5.0 V3.5.1, V3.5.3)', () => {
  const table: [string, Record<string, string>, number][] = [
    ['own Origin', { origin: ORIGIN }, 303],
    ['another Origin', { origin: 'https://evil.example' }, 403],
    ['another port', { origin: 'http://localhost:9999' }, 403],
    ['null Origin', { origin: 'null' }, 403],
    ['null Origin, browser says same-origin', { origin: 'null', 'sec-fetch-site': 'same-origin' }, 303],
    ['null Origin, browser says cross-site', { origin: 'null', 'sec-fetch-site': 'cross-site' }, 403],
  ]
  test.each(table)('%s', async (_, headers, status) => {
    const { parent } = open()
    await parent.get('/')
    expect((await parent.post('/say', { text: 'x' }, headers)).status).toBe(status)
  })

  test('JSON from another site is refused like a form', async () => {
    const { parent, family } = open()
    await parent.get('/')
    expect((await parent.postJson('/say', { text: 'x' }, 'https://evil.example')).status).toBe(403)
    expect(family.calls).toEqual([])
  })

  test('no GET or HEAD changes anything', async () => {
    const { parent, family, channel } = open()
    for (const path of ['/', '/say?text=hello', '/log', '/handover', '/stream', '/offline']) {
      await (await parent.get(path)).body?.cancel()
      await channel.fetch(new Request(ORIGIN + path, { method: 'HEAD' }))
    }
    expect(family.calls).toEqual([])
  })
})

describe('the log', () => {
  // Strings of the well-known kinds listed in the OWASP cross-site-scripting filter evasion sheet, from memory.
  const hostile = [
    '<img src=x onerror=alert(1)>',
    '</textarea><script>alert(1)</script>',
    '"><svg/onload=alert(1)>',
    "javascript:alert('1')",
    '<!--',
    '&lt;b&gt;',
    '\u202Egnp.exe',
    '{{7*7}}<%= 7*7 %>',
  ]
  test.each(hostile)('shows hostile words as words: %s', async words => {
    const { parent, family } = open()
    await parent.get('/')
    await parent.post('/say', { text: words })
    const chat = chatIdOf(parent.cookie)
    family.say(chat, {
      speaker: { kind: 'clinician', name: words, role: words },
      parts: [{ kind: 'person', name: words, role: words, text: words }],
    })
    family.setLog(chat, {
      nickname: words,
      code: words,
      callState: words,
      changeable: [{ fact: words, label: words, answer: words }],
    })
    for (const path of ['/', '/log', '/handover']) {
      const markup = await (await parent.get(path)).text()
      expect(markup).not.toMatch(/<img|<svg\/|alert\(1\)<\/script>|<script>/)
      if (words.includes('<'))
        expect(markup).toContain(
          words.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;'),
        )
    }
  })

  test('names the speaker of every line, with its time, and sets advice apart as numbered lines', async () => {
    const { parent, family } = open()
    await reach(parent, 1)
    family.say(chatIdOf(parent.cookie), {
      speaker: { kind: 'clinician', name: 'R. Example', role: 'on-call nurse' },
      parts: [{ kind: 'person', name: 'R. Example', role: 'on-call nurse', text: 'I will ring you by 2:25.' }],
    })
    const markup = await (await parent.get('/')).text()
    expect(markup).toMatch(/<time datetime="2026-03-01T02:09:00.000Z">2:09.am<\/time>/)
    for (const who of ['Clinic&#39;s bot', 'You', 'R. Example, on-call nurse'])
      expect(markup).toContain(`<p class="who">${who}</p>`)
    expect(markup).toMatch(/<ol class="advice"><li>Cover the opening[^<]*<\/li><li>/)
    expect(markup).toContain('<blockquote dir="auto">I will ring you by 2:25.</blockquote>')
  })

  test('shows the open question once, lowest, and an answered one in its place', async () => {
    const { parent } = open()
    await reach(parent, 2)
    const markup = await (await parent.get('/')).text()
    expect(markup.match(/Which tube does your child have/g)).toHaveLength(1)
    expect(markup.indexOf('Which tube')).toBeGreaterThan(markup.lastIndexOf('class="line'))
    expect(markup.match(/Do you see any of these/g)).toHaveLength(1)
  })

  test('makes the numbers in advice tappable, only where they stand alone', async () => {
    const { parent, family } = open()
    await reach(parent, 1)
    family.say(chatIdOf(parent.cookie), {
      speaker: { kind: 'bot' },
      parts: [{ kind: 'advice', id: 'a-ring', text: 'Ring 555-0111 now. Not 1555-01112.', tags: ['call-emergency'] }],
    })
    const markup = await (await parent.get('/')).text()
    expect(markup).toContain(
      '<div role="alert"><ol class="advice"><li>Ring <a class="tel" href="tel:+12025550111">555-0111</a> now. Not 1555-01112.</li></ol></div>',
    )
  })

  test('the version changes with what is shown, and an unchanged log is not sent again', async () => {
    const { parent, family } = open()
    await reach(parent, 1)
    const etag = (await parent.get('/log')).headers.get('etag') ?? ''
    expect((await parent.get('/log', { 'if-none-match': etag })).status).toBe(304)
    family.setLog(chatIdOf(parent.cookie), { callState: 'R. Example has taken this on.' })
    expect((await parent.get('/log', { 'if-none-match': etag })).status).toBe(200)
  })
})

describe('the desk sheet', () => {
  test('shows the code, what was answered and the advice still in force, and not advice taken back', async () => {
    const { parent, family } = open()
    await reach(parent, 2)
    family.say(chatIdOf(parent.cookie), {
      speaker: { kind: 'bot' },
      parts: [{ kind: 'withdrawn', id: 'a-cover', text: 'Stop: do not cover the opening.', tags: ['cover-opening'] }],
    })
    const markup = await (await parent.get('/handover')).text()
    expect(markup).toContain('Sun 4719')
    expect(markup).toContain('Put nothing into the opening for now.')
    expect(markup).not.toContain('Cover the opening with')
    expectFoot(markup)
  })

  test('shows the case’s own sheet where there is one, with the number for staff', async () => {
    const { parent, family } = open()
    await reach(parent, 1)
    family.setLog(chatIdOf(parent.cookie), {
      desk: {
        say: ['Stomach feeding tube OUT since 1:30.'],
        facts: [{ label: 'Size', text: '14 Fr' }],
        staff: { label: 'For staff', number: '+12025550144' },
      },
    })
    const markup = await (await parent.get('/handover')).text()
    expect(markup).toContain('Stomach feeding tube OUT since 1:30.')
    expect(markup).toContain('14 Fr')
    expect(markup).toContain('href="tel:+12025550144"')
  })
})

describe('event streams', () => {
  test('tell a page that something is new, with an id it can come back with', async () => {
    const { parent, channel } = open()
    await reach(parent, 1)
    const stream = await parent.get('/stream')
    expect(stream.headers.get('content-type')).toBe('text/event-stream; charset=utf-8')
    const read = reader(stream)
    const first = await read()
    expect(first).toMatch(/^retry: 2000\nid: ([\w-]+)\nevent: log\n/)
    await reach(parent, 2)
    expect(await channel.deliver(outgoing(chatIdOf(parent.cookie)))).toEqual({ kind: 'delivered' })
    const second = await read()
    expect(second).toMatch(/^id: [\w-]+\nevent: log\n/)
    expect(idIn(second)).not.toBe(idIn(first))
    const id = idIn(second)
    expect(await reader(await parent.get('/stream', { 'last-event-id': id }))()).toBe('retry: 2000\n: nothing new\n\n')
    expect(await reader(await parent.get('/stream', { 'last-event-id': idIn(first) }))()).toContain('event: log')
  })

  test('reach only the chat they belong to', async () => {
    const { channel, parent } = open()
    const other = visitor(channel.fetch)
    await reach(parent, 1)
    await reach(other, 1)
    const read = reader(await other.get('/stream'))
    await read()
    await channel.deliver(outgoing(chatIdOf(parent.cookie)))
    await channel.deliver(outgoing(chatIdOf(other.cookie)))
    expect(await read()).toContain('event: log')
    const nothing = new Promise(resolve => setTimeout(resolve, 20, 'nothing'))
    expect(await Promise.race([read(), nothing])).toBe('nothing')
  })

  test('beat while the channel runs, and end when it stops', async () => {
    const { channel, parent } = open({ heartbeatMs: 5 })
    await reach(parent, 1)
    await channel.start()
    const read = reader(await parent.get('/stream'))
    await read()
    expect(await read()).toMatch(/^event: beat\n/)
    await channel.stop()
    let chunk: string | undefined
    do chunk = await read()
    while (chunk !== undefined)
    expect(chunk).toBeUndefined()
  })

  test('a reply counts as delivered when no page is open: it is readable in the log', async () => {
    const { channel } = open()
    expect(await channel.deliver(outgoing('nobody'))).toEqual({ kind: 'delivered' })
  })

  test('a log that cannot be read just then is still announced', async () => {
    let isBroken = false
    const family = webFamily()
    const channel = webchat({
      ...family.ports,
      log: async chat => {
        if (isBroken) throw new Error('store away')
        return family.ports.log(chat)
      },
    })
    const parent = visitor(channel.fetch)
    await parent.get('/')
    const read = reader(await parent.get('/stream'))
    await read()
    isBroken = true
    expect(await channel.deliver(outgoing(chatIdOf(parent.cookie)))).toEqual({ kind: 'delivered' })
    expect(await read()).toContain('event: log')
  })
})

/** Answers until the question with this serial is open. */
async function reach(parent: ReturnType<typeof visitor>, serial: number): Promise<void> {
  for (let at = 0; ; at++) {
    const page = await (await parent.get('/')).text()
    const open = Number(/data-serial="(\d+)"/.exec(page)?.[1] ?? 0)
    if (open === serial) return
    if (at > 10) throw new Error(`question ${serial} was never asked`)
    const nonce = nonceOn(page)
    await (open === 0
      ? parent.post('/say', { concern: 'tube-out', nonce })
      : parent.post('/say', { serial: String(open), value: 'none', nonce }))
  }
}

function reader(response: Response): () => Promise<string | undefined> {
  const stream = response.body?.getReader()
  const decoder = new TextDecoder()
  return async () => {
    const chunk = await stream?.read()
    return chunk?.done === false ? decoder.decode(chunk.value) : undefined
  }
}

function idIn(text: string | undefined): string {
  return /^id: (.+)$/m.exec(text ?? '')?.[1] ?? ''
}

function outgoing(chat: string) {
  return {
    channel: 'web',
    chat,
    caseId: 'c1',
    effectId: 'c1-1-0',
    at: instant(0),
    parts: [],
    repeated: false,
    audible: true,
  } as const
}
