import type { Context, Hono } from 'hono'
import { type About, type Action, mayDo } from '../accounts/authority.ts'
import type { ReadSignedIn, SignedIn } from '../accounts/signed-in.ts'
import { BODY_BYTES_MAX, bodyWithin, bytesWithin, fieldsOf, isSameOrigin } from '../channels/web-guard.ts'
import type { ClinicAnswers } from './clinic-page.ts'

/** A path that only some may use. */
export interface GatedRoute {
  readonly method: 'GET' | 'POST'
  /** As the router writes it: `/people/:id/invite`. */
  readonly path: string
  readonly action: Action
}

export type Fields = ReadonlyMap<string, readonly string[]>

/** What a request is about, for rights that reach only so far; undefined where there is no such thing: 404. */
type AboutOf = (c: Context, who: SignedIn) => About | undefined | Promise<About | undefined>

/** How the body of a post is read; undefined where there is too much of it. */
export type PostRead = (c: Context) => Promise<Fields | undefined>

/** Routes of which each names the action it is; there is no other way to one. */
export interface Gate {
  /** Every route that was opened, in order: what tests walk. */
  readonly routes: readonly GatedRoute[]
  get(path: string, action: Action, answer: (c: Context, who: SignedIn) => Promise<Response>, about?: AboutOf): void
  post(
    path: string,
    action: Action,
    answer: (c: Context, who: SignedIn, fields: Fields) => Promise<Response>,
    more?: AboutOf | { readonly read?: PostRead },
  ): void
}

export interface GatePorts {
  readonly signedIn: ReadSignedIn
  readonly answers: ClinicAnswers
  /** Told of whoever was signed in and may not; goes into the audit trail. */
  refused(who: SignedIn, action: Action): Promise<void>
}

/**
 * Puts routes of the clinic's side behind the one table of who may do what. Nobody signed in: a GET leads to the sign-in page
 * and back, a POST says so and does nothing. Signed in without the right: 403, and a line in the audit trail. A POST must come
 * from one of our own pages.
 */
export function gate(app: Hono, { signedIn, answers, refused }: GatePorts): Gate {
  const routes: GatedRoute[] = []

  async function admitted(c: Context, action: Action, about: AboutOf | undefined): Promise<SignedIn | Response> {
    const who = await signedIn(c.req.raw)
    if (who === undefined)
      return c.req.method === 'GET' ? toSignIn(c, answers) : answers.notice(c, 401, 'clinic-signed-out')
    const what = about === undefined ? {} : await about(c, who)
    if (what !== undefined && mayDo(who, action, what)) return who
    // What is not there and what may not be seen are told apart only to those who may see it.
    if (what === undefined && mayDo(who, action, { personId: who.personId, caseId: '', isClosed: true }))
      return answers.notice(c, 404, 'clinic-unknown')
    await refused(who, action)
    return answers.notice(c, 403, 'clinic-not-allowed')
  }

  return {
    routes,
    get(path, action, answer, about) {
      routes.push({ method: 'GET', path, action })
      app.get(path, async c => {
        const who = await admitted(c, action, about)
        return who instanceof Response ? who : answer(c, who)
      })
    },
    post(path, action, answer, more = {}) {
      const [about, read] = typeof more === 'function' ? [more, postedFields] : [undefined, more.read ?? postedFields]
      routes.push({ method: 'POST', path, action })
      app.post(path, async c => {
        if (!isSameOrigin(c.req.raw, answers.address)) return answers.notice(c, 403, 'clinic-other-site')
        const who = await admitted(c, action, about)
        if (who instanceof Response) return who
        const fields = await read(c)
        return fields === undefined ? answers.notice(c, 413, 'clinic-too-big') : answer(c, who, fields)
      })
    },
  }
}

/** The fields of a post; empty where they cannot be read, undefined where there is too much. */
export async function postedFields(c: Context): Promise<Fields | undefined> {
  const body = await bodyWithin(c.req.raw, BODY_BYTES_MAX)
  if (body === undefined) return undefined
  return fieldsOf(body, c.req.header('content-type') ?? null) ?? new Map()
}

/**
 * The fields of a form with files in it (RFC 7578), each file as its text; what is no UTF-8 in it becomes U+FFFD. Empty where they cannot be read.
 *
 * @param bytesMax  of the whole form, inclusive
 */
export async function partsOf(c: Context, bytesMax: number): Promise<Fields | undefined> {
  const body = await bytesWithin(c.req.raw, bytesMax)
  if (body === undefined) return undefined
  const kind = c.req.header('content-type') ?? ''
  if (!/^multipart\/form-data\s*;/i.test(kind)) return fieldsOf(body.toString('utf8'), kind) ?? new Map()
  try {
    const form = await new Response(new Uint8Array(body), { headers: { 'Content-Type': kind } }).formData()
    const fields = new Map<string, string[]>()
    for (const [name, value] of form)
      fields.set(name, [...(fields.get(name) ?? []), typeof value === 'string' ? value : await value.text()])
    return fields
  } catch {
    return new Map()
  }
}

export const fieldIn = (fields: Fields, name: string): string => fields.get(name)?.[0] ?? ''

function toSignIn(c: Context, answers: ClinicAnswers): Response {
  const { pathname, search } = new URL(c.req.url)
  return answers.goTo(c, `/sign-in?onward=${encodeURIComponent(pathname + search)}`)
}

/** A path of our own to go on to; anything else (another host, a scheme, a backslash) leads to `otherwise`. */
export function ownPath(said: string, otherwise: string): string {
  if (!/^\/(?![/\\])[\w\-./?=&%~:+,]*$/.test(said) || said.length > 300) return otherwise
  const base = 'https://clinic.invalid'
  const url = URL.canParse(said, base) ? new URL(said, base) : undefined
  return url?.origin === base && !url.pathname.startsWith('//') ? url.pathname + url.search : otherwise
}
