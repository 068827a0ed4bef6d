/** A browser without script: keeps cookies, sends forms as a browser does. */
export interface Visitor {
  get(path: string, headers?: Record<string, string>): Promise<Response>
  post(
    path: string,
    fields: Record<string, string | readonly string[]>,
    headers?: Record<string, string>,
  ): Promise<Response>
  postJson(path: string, body: object, origin?: string): Promise<Response>
  cookie: string
}

export const ORIGIN = 'http://localhost:8080'

export function visitor(fetch: (request: Request) => Promise<Response>, origin = ORIGIN): Visitor {
  const keep = (response: Response): Response => {
    const set = response.headers.get('set-cookie')
    if (set !== null) self.cookie = set.split(';')[0] ?? ''
    return response
  }
  const self: Visitor = {
    cookie: '',
    get: async (path, headers = {}) =>
      keep(await fetch(new Request(origin + path, { headers: { cookie: self.cookie, ...headers } }))),
    async post(path, fields, headers = {}) {
      const body = new URLSearchParams()
      for (const [name, value] of Object.entries(fields)) for (const one of [value].flat()) body.append(name, one)
      const request = new Request(origin + path, {
        method: 'POST',
        body: body.toString(),
        headers: { cookie: self.cookie, origin, 'content-type': 'application/x-www-form-urlencoded', ...headers },
      })
      return keep(await fetch(request))
    },
    async postJson(path, body, from = origin) {
      const headers = {
        cookie: self.cookie,
        origin: from,
        'content-type': 'application/json',
        accept: 'application/json',
      }
      return keep(await fetch(new Request(origin + path, { method: 'POST', body: JSON.stringify(body), headers })))
    },
  }
  return self
}

/** Value of the first hidden nonce on a page. */
export function nonceOn(markup: string): string {
  const nonce = /name="nonce" value="([^"]+)"/.exec(markup)?.[1]
  if (nonce === undefined) throw new Error('no form nonce on the page')
  return nonce
}
