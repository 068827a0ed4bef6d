import { connect } from 'node:net'
import type { NightLine } from './night-line.ts'

/** What came back over a bare socket. */
export interface RawAnswer {
  readonly status: number
  readonly head: string
  readonly body: string
  /** Bytes that could be sent before the other side closed. */
  readonly sentBytes: number
}

/** Sends bytes as they are, then `more` as long as the other side takes them; resolves when it closes or after `waitMs`. */
export function rawRequest(
  line: NightLine,
  text: string,
  options: { readonly more?: { readonly chunk: string; readonly times: number }; readonly waitMs?: number } = {},
): Promise<RawAnswer> {
  return new Promise(resolve => {
    const socket = connect(line.port, '127.0.0.1')
    let got = ''
    let sentBytes = 0
    const end = () => {
      clearTimeout(timer)
      socket.destroy()
      const [head = '', ...body] = got.split('\r\n\r\n')
      resolve({
        status: Number(/^HTTP\/1\.1 (\d{3})/.exec(got)?.[1] ?? 0),
        head,
        body: body.join('\r\n\r\n'),
        sentBytes,
      })
    }
    const timer = setTimeout(end, options.waitMs ?? 4_000)
    socket.setEncoding('utf8')
    socket.on('data', (data: string) => {
      got += data
    })
    socket.on('error', end)
    socket.on('close', end)
    socket.write(text)
    const { more } = options
    if (more === undefined) return
    let left = more.times
    const pump = (): void => {
      while (left > 0 && !socket.destroyed) {
        left -= 1
        sentBytes += more.chunk.length
        if (!socket.write(more.chunk)) {
          socket.once('drain', pump)
          return
        }
      }
    }
    pump()
  })
}

/** Head of a request to this line, closing after it. */
export function headOf(line: NightLine, start: string, headers: readonly string[] = []): string {
  return [`${start} HTTP/1.1`, `Host: localhost:${line.port}`, 'Connection: close', ...headers, '', ''].join('\r\n')
}
