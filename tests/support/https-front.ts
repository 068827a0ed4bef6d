import { request } from 'node:http'
import { createServer } from 'node:https'
import type { AddressInfo } from 'node:net'
import { selfSignedCertificate } from '../pagers/certificate.ts'

/** What stands before the bot of a real clinic: the public name, https, and whoever asks named in a header. */
export interface HttpsFront {
  /** What a browser is started with, so that it finds the name here and takes the certificate. */
  readonly flags: readonly string[]
  /** @param origin  where the bot listens; asked for each request */
  stop(): Promise<void>
}

export async function httpsFront(host: string, origin: () => string): Promise<HttpsFront> {
  const server = createServer(selfSignedCertificate(host), (asked, answer) => {
    const { hostname, port } = new URL(origin())
    const forwarded = request(
      {
        ...{ hostname, port, method: asked.method, path: asked.url },
        headers: {
          ...asked.headers,
          'x-forwarded-for': asked.socket.remoteAddress ?? '',
          'x-forwarded-proto': 'https',
        },
      },
      given => {
        answer.writeHead(given.statusCode ?? 502, given.headers)
        given.pipe(answer)
      },
    )
    forwarded.on('error', () => answer.writeHead(502).end())
    asked.pipe(forwarded)
  })
  await new Promise<void>(resolve => server.listen(0, '127.0.0.1', resolve))
  const { port } = server.address() as AddressInfo
  return {
    flags: [`--host-resolver-rules=MAP ${host}:443 127.0.0.1:${port}`, '--ignore-certificate-errors'],
    stop: () =>
      new Promise(resolve => {
        server.closeAllConnections()
        server.close(() => resolve())
      }),
  }
}
