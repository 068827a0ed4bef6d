import { type Agent, request as httpRequest, type IncomingMessage } from 'node:http'

export interface WebAnswer {
  readonly status: number
  readonly body: string
  readonly location: string | undefined
  readonly retryAfter: string | undefined
  /** From the first byte sent to the last received, in ms. */
  readonly tookMs: number
}

/** Counts over all phones. */
export interface Traffic {
  requests: number
  byStatus: Map<number, number>
  /** 503 with Retry-After: turned away, and said so. */
  turnedAway: number
  /** Any other answer of 500 and above: method, path and status. */
  broken: string[]
  /** Connections lost without being dropped on purpose. */
  lost: number
  getMs: number[]
  postMs: number[]
}

export const newTraffic = (): Traffic => ({
  requests: 0,
  byStatus: new Map(),
  turnedAway: 0,
  broken: [],
  lost: 0,
  getMs: [],
  postMs: [],
})

/** A browser on a phone: one cookie, kept connections. */
export interface WebPhone {
  get(path: string): Promise<WebAnswer>
  post(path: string, fields: readonly (readonly [string, string])[]): Promise<WebAnswer>
  /** Sends a post and loses the connection: half-way through the body, or right after it, before an answer. */
  postLost(path: string, fields: readonly (readonly [string, string])[], where: 'half-way' | 'after'): Promise<void>
  /** Listens to an event stream; `heard` is called with each event's name. Returns what closes it. */
  listen(path: string, heard: (event: string) => void): () => void
  hasCookie(): boolean
}

export function webPhone(origin: string, agent: Agent, traffic: Traffic): WebPhone {
  let cookie = ''
  const headersOf = (body?: string): Record<string, string> => ({
    ...(cookie === '' ? {} : { cookie }),
    ...(body === undefined
      ? {}
      : {
          origin,
          'content-type': 'application/x-www-form-urlencoded',
          'content-length': String(Buffer.byteLength(body)),
        }),
  })

  function count(method: string, path: string, answer: WebAnswer): WebAnswer {
    traffic.requests += 1
    traffic.byStatus.set(answer.status, (traffic.byStatus.get(answer.status) ?? 0) + 1)
    ;(method === 'GET' ? traffic.getMs : traffic.postMs).push(answer.tookMs)
    if (answer.status === 503 && answer.retryAfter !== undefined) traffic.turnedAway += 1
    else if (answer.status >= 500) traffic.broken.push(`${method} /${path.split('/')[1] ?? ''} ${answer.status}`)
    return answer
  }

  function send(method: string, path: string, body?: string): Promise<WebAnswer> {
    const started = performance.now()
    return new Promise((resolve, reject) => {
      const request = httpRequest(origin + path, { method, agent, headers: headersOf(body) }, response => {
        keep(response)
        const pieces: Buffer[] = []
        response.on('data', piece => pieces.push(piece))
        response.on('error', reject)
        response.on('end', () =>
          resolve(
            count(method, path, {
              status: response.statusCode ?? 0,
              body: Buffer.concat(pieces).toString('utf8'),
              location: response.headers.location,
              retryAfter: response.headers['retry-after'],
              tookMs: performance.now() - started,
            }),
          ),
        )
      })
      request.setTimeout(60_000, () => request.destroy(new Error(`${method} ${path}: no answer in 60 s`)))
      request.on('error', error => {
        traffic.lost += 1
        reject(error)
      })
      request.end(body)
    })
  }

  function keep(response: IncomingMessage): void {
    const [set] = response.headers['set-cookie'] ?? []
    if (set !== undefined) cookie = set.split(';')[0] ?? ''
  }

  const encoded = (fields: readonly (readonly [string, string])[]): string =>
    new URLSearchParams(fields.map(([name, value]): [string, string] => [name, value])).toString()

  return {
    get: path => send('GET', path),
    post: (path, fields) => send('POST', path, encoded(fields)),
    hasCookie: () => cookie !== '',
    postLost(path, fields, where) {
      const body = encoded(fields)
      return new Promise(resolve => {
        const request = httpRequest(origin + path, { method: 'POST', agent: false, headers: headersOf(body) })
        request.on('error', () => resolve())
        request.on('close', () => resolve())
        request.on('response', response => response.destroy())
        request.flushHeaders()
        const cut = where === 'after' ? body : body.slice(0, Math.ceil(body.length / 2))
        request.write(cut, () => request.destroy())
      })
    },
    listen(path, heard) {
      let isOver = false
      let close = (): void => undefined
      const open = (): void => {
        if (isOver) return
        const request = httpRequest(origin + path, { agent: false, headers: headersOf() }, response => {
          response.setEncoding('utf8')
          response.on('data', (text: string) => {
            for (const [, event = ''] of text.matchAll(/^event: (\w+)$/gm)) heard(event)
          })
          response.on('close', again)
          response.on('error', () => undefined)
        })
        request.on('error', again)
        request.end()
        close = () => request.destroy()
      }
      let timer: NodeJS.Timeout | undefined
      const again = (): void => {
        clearTimeout(timer)
        if (!isOver) timer = setTimeout(open, 2_000)
      }
      open()
      return () => {
        isOver = true
        clearTimeout(timer)
        close()
      }
    },
  }
}
