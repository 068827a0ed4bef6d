/** A browser without script against a real address: keeps the cookie, follows redirects, presses what is on the page. */
export interface Visit {
  /** Status and markup of an address; becomes the page one is on. */
  open(path: string): Promise<Page>
  /**
   * Presses the button with this label, with what is written or ticked in its form. Of several with one label: the one
   * whose form holds `hidden`. Pressed again before another page is opened, it posts the same form: one press sent twice.
   */
  press(
    label: string | RegExp,
    filled?: Readonly<Record<string, string | readonly string[]>>,
    hidden?: readonly [name: string, value: string],
  ): Promise<Page>
  /** The page one is on. */
  page(): Page
  /** The cookie it keeps, so that the same browser can go on with another process. */
  cookie(): string
  /** Every response so far, headers and all: what a family or a clinician was ever sent. */
  readonly everything: string[]
}

export interface Page {
  readonly path: string
  readonly status: number
  readonly markup: string
  /** Bytes of the body. */
  readonly bytes: number
  /** Milliseconds from the request to the end of the body. */
  readonly tookMs: number
  /** What a person reads, tags and styles taken away, spaces as one. */
  readonly text: string
  /** Labels of the buttons, in order. */
  readonly buttons: readonly string[]
}

interface Form {
  readonly action: string
  readonly method: string
  readonly hidden: readonly [string, string][]
  readonly buttons: readonly { readonly label: string; readonly name?: string; readonly value: string }[]
}

/** @param publicOrigin  what a browser behind the clinic's web server names as the origin of a form */
export function visit(origin: string, kept = '', publicOrigin = origin): Visit {
  let cookie = kept
  let here: Page | undefined
  const everything: string[] = []

  async function fetched(path: string, init: RequestInit): Promise<Page> {
    const started = performance.now()
    const headers = { ...(cookie === '' ? {} : { cookie }), ...(init.headers as Record<string, string>) }
    const response = await fetch(origin + path, { ...init, headers, redirect: 'manual' })
    const markup = await response.text()
    const tookMs = performance.now() - started
    everything.push([...response.headers].map(pair => pair.join(': ')).join('\n'), markup)
    const set = response.headers.get('set-cookie')
    if (set !== null) cookie = set.split(';')[0] ?? ''
    const to = response.headers.get('location')
    if (to !== null) return fetched(new URL(to, origin + path).href.slice(origin.length), { headers: {} })
    const buttons = formsOf(markup).flatMap(form => form.buttons.map(({ label }) => label))
    const bytes = Buffer.byteLength(markup)
    here = { path, status: response.status, markup, bytes, tookMs, text: textOf(markup), buttons }
    return here
  }

  const page = (): Page => {
    if (here === undefined) throw new Error('no page is open yet')
    return here
  }

  return {
    everything,
    page,
    cookie: () => cookie,
    open: path => fetched(path, { headers: {} }),
    async press(label, filled = {}, hidden) {
      const fits = (text: string) => (typeof label === 'string' ? text === label : label.test(text))
      const holds = (one: Form) =>
        hidden === undefined || one.hidden.some(field => field.join('=') === hidden.join('='))
      const form = formsOf(page().markup).find(one => holds(one) && one.buttons.some(button => fits(button.label)))
      const button = form?.buttons.find(one => fits(one.label))
      if (form === undefined || button === undefined)
        throw new Error(`no button ${label} on ${page().path}; there are: ${page().buttons.join(' | ')}`)
      const fields = new URLSearchParams([...form.hidden])
      for (const [name, values] of Object.entries(filled)) {
        for (const value of [values].flat()) fields.append(name, value)
      }
      if (button.name !== undefined) fields.append(button.name, button.value)
      if (form.method !== 'post') return fetched(form.action, { headers: {} })
      const headers = { origin: publicOrigin, 'content-type': 'application/x-www-form-urlencoded' }
      return fetched(form.action === '' ? page().path : form.action, {
        method: 'POST',
        body: fields.toString(),
        headers,
      })
    },
  }
}

function formsOf(markup: string): Form[] {
  return [...markup.matchAll(/<form([^>]*)>([\s\S]*?)<\/form>/g)].map(([, head = '', body = '']) => ({
    action: attribute(head, 'action') ?? '',
    method: attribute(head, 'method') ?? 'get',
    hidden: [...body.matchAll(/<input type="hidden"([^>]*)>/g)].map(([, field = '']): [string, string] => [
      attribute(field, 'name') ?? '',
      attribute(field, 'value') ?? '',
    ]),
    buttons: [...body.matchAll(/<button([^>]*)>([\s\S]*?)<\/button>/g)].map(([, field = '', inside = '']) => {
      const name = attribute(field, 'name')
      return {
        label: textOf(inside),
        value: attribute(field, 'value') ?? '',
        ...(name === undefined ? {} : { name }),
      }
    }),
  }))
}

function attribute(tag: string, name: string): string | undefined {
  const value = new RegExp(`(?:^|\\s)${name}="([^"]*)"`).exec(tag)?.[1]
  return value === undefined ? undefined : unescaped(value)
}

function textOf(markup: string): string {
  const bare = markup.replace(/<(style|script|svg)[\s\S]*?<\/\1>/g, ' ').replace(/<[^>]*>/g, ' ')
  return unescaped(bare).replace(/\s+/g, ' ').trim()
}

function unescaped(text: string): string {
  return text
    .replace(/&#39;/g, "'")
    .replace(/&quot;/g, '"')
    .replace(/&lt;/g, '<')
    .replace(/&gt;/g, '>')
    .replace(/&amp;/g, '&')
}
