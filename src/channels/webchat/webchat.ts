import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'
import { Hono } from 'hono'
import { html } from 'hono/html'
import type { Outgoing } from '../../case/message.ts'
import type { Channel } from '../channel.ts'
import {
  BODY_BYTES_MAX,
  bodyWithin,
  bytesWithin,
  fieldsOf,
  isSameOrigin,
  isSecureRequest,
  type PublicAddress,
  secureHeaders,
} from '../web-guard.ts'
import { type Notice, noticePage } from '../web-notice.ts'
import { type Html, page } from '../web-page.ts'
import { barePhoto, PHOTO_BYTES_MAX } from '../web-photo.ts'
import { chatOf, cookieFor, cookieIn, languageCookie } from './cookie.ts'
import { DESK_CSS, deskScreen } from './desk-page.ts'
import type { FamilyLog, Spoken, WebchatPorts } from './family-log.ts'
import { languageFor } from './language.ts'
import { partsOf } from './log-lines.ts'
import { firstScreen, type LogFrame, logFragment, logScreen } from './log-page.ts'
import { LOG_CSS } from './log-style.ts'
import { type PhotoPosted, photoPosted } from './photo-form.ts'
import { openStreams } from './streams.ts'
import { tapOf } from './tap.ts'

/**
 * Largest post of the box to write in, in bytes (inclusive): 100,000 characters, each at most 9 bytes once the browser
 * has percent-encoded it, and the other fields. A long message is passed on, so that the bot answers it.
 */
const SAY_BYTES_MAX = 1024 * 1024

export type Webchat = Channel & { fetch(request: Request): Promise<Response> }

/** A photo and the fields beside it. */
const PHOTO_POST_BYTES_MAX = PHOTO_BYTES_MAX + 16 * 1024
/** Photos read at one time, each wholly in memory. */
const PHOTOS_AT_ONCE = 4

/** The family's pages: the log, the desk sheet, event streams. Works without script; the script only saves reloads. */
export function webchat(ports: WebchatPorts): Webchat {
  const streams = openStreams()
  const address: PublicAddress = ports.origin === undefined ? {} : { origin: ports.origin }
  const tags = (ports.languages ?? []).map(({ tag }) => tag)
  const files = { chat: staticFile('chat.js'), worker: staticFile('worker.js') }
  const app = new Hono()
  let heartbeat: NodeJS.Timeout | undefined
  let photosBeingRead = 0

  const headersFor = (request: Request, nonce: string): Record<string, string> =>
    secureHeaders(nonce, isSecureRequest(request, address))

  const htmlResponse = (
    request: Request,
    markup: string,
    nonce: string,
    status = 200,
    extra: [string, string][] = [],
  ) => {
    const headers = new Headers(headersFor(request, nonce))
    headers.set('Content-Type', 'text/html; charset=utf-8')
    for (const [name, value] of extra) headers.append(name, value)
    return new Response(markup, { status, headers })
  }

  /** The words for a request: of the chat's language, else of the one this browser last saw or asks for. */
  const spokenFor = (request: Request, log?: FamilyLog): Spoken => {
    const tag = log?.language ?? languageFor(request, tags)
    return tag === undefined || ports.inLanguage === undefined ? ports : ports.inLanguage(tag)
  }

  const notice = async (request: Request, status: number, id: string, extra: [string, string][] = []) => {
    const { wording, foot, language = 'en' } = spokenFor(request)
    const what = { heading: wording(`${id}-heading`), lines: [wording(`${id}-line`)] }
    if (wantsJson(request)) return refusalAsJson(request, status, what, extra)
    const nonce = ports.randomId()
    const frame = { wording, foot: foot(), demonstration: ports.demonstration, language, nonce }
    return htmlResponse(request, await noticePage(what, frame), nonce, status, extra)
  }

  const refusalAsJson = (request: Request, status: number, what: Notice, extra: [string, string][]) => {
    const headers = new Headers({ ...headersFor(request, 'none'), 'Content-Type': 'application/json; charset=utf-8' })
    for (const [name, value] of extra) headers.append(name, value)
    return new Response(JSON.stringify({ words: [what.heading, ...what.lines].join(' ') }), { status, headers })
  }

  const logFrame = (spoken: Spoken, note?: string): LogFrame => ({
    wording: spoken.wording,
    clock: spoken.clock,
    foot: spoken.foot(),
    tapNonce: ports.randomId(),
    firstAdvice: spoken.firstAdvice(),
    concerns: spoken.concerns(),
    lineNotice: spoken.lineNotice?.() ?? [],
    drawing: id => ports.drawing?.(id),
    language: spoken.language ?? 'en',
    languages: ports.languages ?? [],
    ...(note === undefined ? {} : { note }),
  })

  /** The chat's page, with a cookie where there was none. */
  const logPage = async (request: Request, options: { status?: number; note?: string } = {}): Promise<Response> => {
    const cookie = cookieIn(request.headers.get('cookie')) ?? ports.randomId()
    const log = await ports.log({ channel: 'web', chat: chatOf(cookie) })
    const spoken = spokenFor(request, log)
    const { wording, language = 'en' } = spoken
    const frame = logFrame(spoken, options.note)
    const nonce = ports.randomId()
    const isFirst = log.lines.length === 0 && log.question === undefined
    const markup = await page({
      language,
      title: wording('page-title'),
      wording,
      demonstration: ports.demonstration,
      nonce,
      css: LOG_CSS,
      body: isFirst ? firstScreen(frame) : logScreen(log, frame),
      foot: frame.foot,
      script: '/chat.js',
      scriptWords: { ...scriptWords(spoken), version: versionOf(log) },
    })
    const secure = isSecureRequest(request, address)
    const cookies: [string, string][] = [['Set-Cookie', cookieFor(cookie, secure)]]
    if (tags.length > 1) cookies.push(['Set-Cookie', languageCookie(language, secure)])
    return htmlResponse(request, markup, nonce, options.status ?? 200, cookies)
  }

  const plainPage = async (
    request: Request,
    { wording, foot, language = 'en' }: Spoken,
    { title, body, css }: { title: string; body: Html; css: string },
  ): Promise<Response> => {
    const nonce = ports.randomId()
    const { demonstration } = ports
    const markup = await page({ language, title, wording, demonstration, nonce, css, body, foot: foot() })
    return htmlResponse(request, markup, nonce)
  }

  /** The page again with a line on what is missing; nothing was passed on. */
  const nothingSaid = (request: Request, id: 'nothing-chosen' | 'nothing-written'): Promise<Response> | Response => {
    const { wording } = spokenFor(request)
    return wantsJson(request)
      ? refusalAsJson(request, 422, { heading: wording(id), lines: [] }, [])
      : logPage(request, { status: 422, note: wording(id) })
  }

  app.get('/', c => logPage(c.req.raw))

  app.get('/log', async c => {
    const request = c.req.raw
    const cookie = cookieIn(request.headers.get('cookie'))
    if (cookie === undefined) return notice(request, 404, 'not-found')
    const log = await ports.log({ channel: 'web', chat: chatOf(cookie) })
    const version = versionOf(log)
    const headers = { ...headersFor(request, 'none'), ETag: `"${version}"` }
    if (request.headers.get('if-none-match') === `"${version}"`) return new Response(null, { status: 304, headers })
    const spoken = spokenFor(request, log)
    const markup = (await logFragment(log, logFrame(spoken))).toString()
    const kind = { 'Content-Type': 'text/html; charset=utf-8', 'Content-Language': spoken.language ?? 'en' }
    return new Response(markup, { headers: { ...headers, ...kind } })
  })

  app.get('/stream', async c => {
    const request = c.req.raw
    const cookie = cookieIn(request.headers.get('cookie'))
    if (cookie === undefined) return notice(request, 404, 'not-found')
    const chat = chatOf(cookie)
    const version = versionOf(await ports.log({ channel: 'web', chat }))
    const seen = request.headers.get('last-event-id') ?? new URL(request.url).searchParams.get('seen') ?? undefined
    return streams.open(chat, version, seen) ?? notice(request, 503, 'busy', [['Retry-After', '15']])
  })

  app.post('/say', async c => {
    const request = c.req.raw
    if (!isSameOrigin(request, address)) return notice(request, 403, 'other-site')
    const body = await bodyWithin(request, SAY_BYTES_MAX)
    if (body === undefined) return notice(request, 413, 'too-big')
    const cookie = cookieIn(request.headers.get('cookie'))
    if (cookie === undefined) return notice(request, 400, 'no-cookie')
    const fields = fieldsOf(body, request.headers.get('content-type'))
    const tap = tapOf(fields ?? new Map(), chatOf(cookie), ports.clock.now(), ports.randomId)
    if (tap.kind === 'unreadable') return notice(request, 400, 'unreadable')
    if (tap.kind !== 'tap') return nothingSaid(request, tap.kind)
    await ports.receive(tap.incoming)
    if (wantsJson(request)) return Response.json({ taken: true }, { headers: headersFor(request, 'none') })
    const headers = { ...headersFor(request, 'none'), Location: '/#now' }
    return new Response(null, { status: 303, headers })
  })

  /** Whether a photo may come is looked at before a byte of it is read. */
  app.post('/photo', async c => {
    const request = c.req.raw
    if (!isSameOrigin(request, address)) return notice(request, 403, 'other-site')
    const cookie = cookieIn(request.headers.get('cookie'))
    if (cookie === undefined) return notice(request, 400, 'no-cookie')
    const chat = { channel: 'web', chat: chatOf(cookie) }
    if (((await ports.log(chat)).photosLeft ?? 0) === 0) return notice(request, 403, 'photo-not-now')
    if (photosBeingRead >= PHOTOS_AT_ONCE) return notice(request, 503, 'busy', [['Retry-After', '5']])
    photosBeingRead += 1
    try {
      const body = await bytesWithin(request, PHOTO_POST_BYTES_MAX)
      if (body === undefined) return notice(request, 413, 'photo-too-big')
      return await photoTaken(request, chat.chat, await photoPosted(body, request.headers.get('content-type')))
    } finally {
      photosBeingRead -= 1
    }
  })

  const photoTaken = async (request: Request, chat: string, posted: PhotoPosted | undefined): Promise<Response> => {
    if (posted === undefined) return notice(request, 422, 'photo-unreadable')
    if (posted.file.length > PHOTO_BYTES_MAX) return notice(request, 413, 'photo-too-big')
    const photo = barePhoto(posted.file)
    if (photo === 'too-large') return notice(request, 413, 'photo-too-big')
    if (typeof photo === 'string') return notice(request, 422, 'photo-unreadable')
    const kept = await ports.keepPhoto?.({ channel: 'web', chat }, photo)
    if (kept === undefined) return notice(request, 403, 'photo-not-now')
    const deliveryId = `${chat}.photo.${kept}`
    const body = { kind: 'media', media: 'photo', kept } as const
    await ports.receive({ channel: 'web', chat, deliveryId, at: ports.clock.now(), body })
    return new Response(null, { status: 303, headers: { ...headersFor(request, 'none'), Location: '/#now' } })
  }

  app.get('/handover', async c => {
    const cookie = cookieIn(c.req.raw.headers.get('cookie'))
    if (cookie === undefined) return notice(c.req.raw, 404, 'not-found')
    const log = await ports.log({ channel: 'web', chat: chatOf(cookie) })
    const { deskLanguage, inLanguage } = ports
    const spoken = deskLanguage === undefined || inLanguage === undefined ? ports : inLanguage(deskLanguage)
    const title = spoken.wording('desk-heading')
    return plainPage(c.req.raw, spoken, { title, body: deskScreen(log, spoken.wording), css: DESK_CSS })
  })

  app.get('/offline', c => {
    const spoken = spokenFor(c.req.raw)
    const at = spoken.clock.now()
    const body = offlineScreen(spoken, `${spoken.clock.text(at)}, ${spoken.clock.day(at)}`)
    return plainPage(c.req.raw, spoken, { title: spoken.wording('offline-heading'), body, css: LOG_CSS })
  })

  app.get('/chat.js', c => scriptResponse(c.req.raw, files.chat))
  app.get('/worker.js', c => scriptResponse(c.req.raw, files.worker))

  const scriptResponse = (request: Request, file: StaticFile): Response => {
    const headers = {
      ...headersFor(request, 'none'),
      'Content-Type': 'text/javascript; charset=utf-8',
      'Cache-Control': 'no-cache',
      ETag: file.etag,
    }
    const isFresh = request.headers.get('if-none-match') === file.etag
    return new Response(isFresh ? null : file.text, { status: isFresh ? 304 : 200, headers })
  }

  app.notFound(async c => {
    const request = c.req.raw
    if (request.method === 'GET' || request.method === 'HEAD') return notice(request, 404, 'not-found')
    if (!isSameOrigin(request, address)) return notice(request, 403, 'other-site')
    if ((await bodyWithin(request, BODY_BYTES_MAX)) === undefined) return notice(request, 413, 'too-big')
    return notice(request, 404, 'not-found')
  })

  app.onError((error, c) => {
    const seconds = retryAfterSecondsOf(error)
    if (seconds === undefined) return notice(c.req.raw, 500, 'broken')
    // Full is one thing; a message that could not be kept is another: then the family has to ring.
    const id = error.name === 'NotStored' ? 'not-kept' : 'busy'
    return notice(c.req.raw, 503, id, [['Retry-After', String(Math.ceil(seconds))]])
  })

  return {
    id: 'web',
    fetch: async request => app.fetch(request),
    async deliver(outgoing: Outgoing) {
      if (streams.isOpen(outgoing.chat)) {
        // Delivered means readable in the log; a page that misses this hint looks for itself.
        await ports.log(outgoing).then(
          log => streams.tell(outgoing.chat, versionOf(log)),
          () => streams.tell(outgoing.chat, outgoing.effectId.replace(/[\r\n]/g, '')),
        )
      }
      return { kind: 'delivered' }
    },
    async start() {
      heartbeat ??= setInterval(() => streams.beat(ports.clock.now()), ports.heartbeatMs ?? 20_000).unref()
    },
    async stop() {
      clearInterval(heartbeat)
      heartbeat = undefined
      streams.closeAll()
    },
  }
}

interface StaticFile {
  readonly text: string
  readonly etag: string
}

/** A script file beside this one, read once when the channel is made. */
function staticFile(name: string): StaticFile {
  const text = readFileSync(new URL(`./page/${name}`, import.meta.url), 'utf8')
  return { text, etag: `"${createHash('sha256').update(text).digest('base64url').slice(0, 16)}"` }
}

/** Changes with anything the page shows; stays with what it does not (nonces, clock). */
function versionOf(log: FamilyLog): string {
  return createHash('sha256').update(JSON.stringify(log)).digest('base64url').slice(0, 16)
}

function wantsJson(request: Request): boolean {
  return (request.headers.get('accept') ?? '').split(',')[0]?.trim() === 'application/json'
}

function retryAfterSecondsOf(error: unknown): number | undefined {
  if (typeof error !== 'object' || error === null || !('retryAfterSeconds' in error)) return undefined
  return typeof error.retryAfterSeconds === 'number' ? error.retryAfterSeconds : undefined
}

/** Words the script shows; it holds none of its own. */
function scriptWords({ wording }: Spoken): Record<string, string> {
  return {
    unsent: wording('script-unsent'),
    sending: wording('script-sending'),
    offline: wording('script-offline'),
    away: wording('script-away'),
    refused: wording('script-refused'),
  }
}

/**
 * Kept by the page's worker for when there is no signal: holding advice, numbers, when it was fetched, and that nobody
 * has been told.
 */
function offlineScreen(spoken: Spoken, fetchedAt: string): Html {
  const { wording } = spoken
  const foot = spoken.foot()
  return html`<main id="main"><h1>${wording('offline-heading')}</h1>
<p><strong>${wording('offline-line')}</strong></p>
<h2>${wording('first-advice-heading')}</h2>
${partsOf(spoken.firstAdvice(), { foot })}
<p><a class="button" href="/">${wording('try-again')}</a></p>
<p class="soft">${wording('offline-fetched', { now: fetchedAt })}</p></main>`
}
