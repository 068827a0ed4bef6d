import { readFileSync } from 'node:fs'
import { type Context, Hono } from 'hono'
import { mayDo } from '../accounts/authority.ts'
import type { ReadSignedIn } from '../accounts/signed-in.ts'
import type { Clinician } from '../case/event.ts'
import type { CaseView } from '../case/view.ts'
import {
  BODY_BYTES_MAX,
  bodyWithin,
  fieldsOf,
  isSameOrigin,
  isSecureRequest,
  secureHeaders,
} from '../channels/web-guard.ts'
import type { Instant } from '../time/instant.ts'
import { type Acted, type ActedBy, actionOf, type ClinicianAction } from './action.ts'
import { type BoardView, boardScreen } from './board-page.ts'
import { caseScreen, type PhotoShown, ringScreen } from './case-page.ts'
import { type ClinicPagePorts, clinicAnswers } from './clinic-page.ts'

/** Everything the clinician's pages need from the rest of the bot. */
export interface ClinicianPorts extends ClinicPagePorts {
  case(caseId: string): Promise<CaseView | undefined>
  /** Whose link it is and for which case. Called on GET too: it must change nothing. */
  openByToken(token: string): Promise<Opened>
  /** Does what the clinician pressed; resolves once it is committed. The same `deliveryId` twice is one press. */
  act(caseId: string, acted: ActedBy, action: ClinicianAction): Promise<Acted>
  board(): Promise<BoardView>
  now(): Instant
  /** Clock time in the clinic's zone and form. */
  clockText(at: Instant): string
  quickLines(): readonly { readonly id: string; readonly text: string }[]
  outcomes(): readonly { readonly id: string; readonly label: string }[]
  /** Photos of cases; left out: there are none. */
  readonly photos?: {
    of(caseId: string): Promise<readonly { readonly id: string; readonly at: Instant }[]>
    open(caseId: string, id: string): Promise<{ readonly type: string; readonly bytes: Uint8Array } | undefined>
  }
  /** Who is signed in; left out: nobody ever is. */
  readonly signedIn?: ReadSignedIn
}

export type Opened = { readonly caseId: string; readonly clinician: Clinician } | 'expired' | 'unknown'

export interface ClinicianPages {
  /** Answers `/p/…` and `/board`; anything else is 404. */
  fetch(request: Request): Promise<Response>
}

type TokenContext = Context<object, '/p/:token'>

/** What a press said when it was done, by action kind. */
const DONE_WORDS = new Set([
  'take',
  'pass-on',
  'spoken',
  'write',
  'quick-line',
  'lower',
  'stop-alarm',
  'outcome',
  'flag',
])

/** The clinician's pages. A GET or HEAD never takes a case, whoever or whatever opens the link. */
export function clinicianPages(ports: ClinicianPorts): ClinicianPages {
  const { wording } = ports
  const ringScript = readFileSync(new URL('./ring.js', import.meta.url), 'utf8')
  const app = new Hono()

  const { address, respond, notice, goTo } = clinicAnswers(ports)

  const open = async (c: Context, token: string): Promise<{ view: CaseView; clinician: Clinician } | Response> => {
    const opened = /^[\w.-]{6,256}$/.test(token) ? await ports.openByToken(token) : 'unknown'
    if (opened === 'expired') return notice(c, 410, 'clinic-expired')
    const view = opened === 'unknown' ? undefined : await ports.case(opened.caseId)
    if (opened === 'unknown' || view === undefined) return notice(c, 404, 'clinic-unknown')
    return { view, clinician: opened.clinician }
  }

  const casePage = async (c: TokenContext, view: CaseView, note?: string, status = 200) => {
    const body = caseScreen({
      view,
      wording,
      clockText: at => ports.clockText(at),
      now: ports.now(),
      actPath: `/p/${c.req.param('token')}`,
      formNonce: ports.randomId(),
      quickLines: ports.quickLines(),
      outcomes: ports.outcomes(),
      photos: await photosShown(c, view),
      ...(note === undefined ? {} : { note }),
    })
    return respond(c, view.headline, body, { status })
  }

  /** A link alone shows no photo: it may have been passed on. A demonstration has nobody to sign in, and invented children. */
  const mayLook = async (c: Context, view: CaseView): Promise<boolean> => {
    if (ports.demonstration) return true
    const who = await ports.signedIn?.(c.req.raw)
    return who !== undefined && mayDo(who, 'see-photos', { caseId: view.caseId, isClosed: view.closed })
  }

  const photosShown = async (c: TokenContext, view: CaseView): Promise<readonly PhotoShown[]> => {
    const kept = (await ports.photos?.of(view.caseId)) ?? []
    if (kept.length === 0) return []
    const isAllowed = await mayLook(c, view)
    return kept.map(({ id, at }) => (isAllowed ? { at, path: `/p/${c.req.param('token')}/photo/${id}` } : { at }))
  }

  app.get('/p/:token/photo/:id', async c => {
    const opened = await open(c, c.req.param('token'))
    if (opened instanceof Response) return opened
    if (!(await mayLook(c, opened.view))) return notice(c, 403, 'clinic-not-allowed')
    const photo = await ports.photos?.open(opened.view.caseId, c.req.param('id'))
    if (photo === undefined) return notice(c, 404, 'clinic-unknown')
    const headers = new Headers(secureHeaders('none', isSecureRequest(c.req.raw, address)))
    // Opened by itself it is a picture and nothing else: whatever a browser made of it could do nothing.
    headers.set('Content-Security-Policy', "default-src 'none'; sandbox; frame-ancestors 'none'")
    headers.set('Content-Type', photo.type)
    headers.set('Content-Disposition', 'inline; filename="photo"')
    return new Response(Buffer.from(photo.bytes), { headers })
  })

  app.get('/p/:token', async c => {
    if (c.req.method === 'HEAD') return new Response(null, { headers: secureHeaders('none', false) })
    const opened = await open(c, c.req.param('token'))
    if (opened instanceof Response) return opened
    const did = c.req.query('did') ?? ''
    return casePage(c, opened.view, DONE_WORDS.has(did) ? wording(`clinic-did-${did}`) : undefined)
  })

  app.get('/p/:token/ring', async c => {
    const opened = await open(c, c.req.param('token'))
    if (opened instanceof Response) return opened
    const body = ringScreen({ view: opened.view, wording, casePath: `/p/${c.req.param('token')}` })
    return respond(c, wording('clinic-ring-heading'), body, { script: '/p/ring/ring.js' })
  })

  app.post('/p/:token', async c => {
    const request = c.req.raw
    if (!isSameOrigin(request, address)) return notice(c, 403, 'clinic-other-site')
    const body = await bodyWithin(request, BODY_BYTES_MAX)
    if (body === undefined) return notice(c, 413, 'clinic-too-big')
    const opened = await open(c, c.req.param('token'))
    if (opened instanceof Response) return opened
    const { view, clinician } = opened
    const fields = fieldsOf(body, request.headers.get('content-type')) ?? new Map<string, readonly string[]>()
    const action = actionOf(fields, ports.now())
    if (typeof action === 'string') return casePage(c, view, wording(action), 422)
    const nonce = fields.get('nonce')?.[0] ?? ''
    const deliveryId = `${view.caseId}.${clinician.id}.${/^[\w-]{8,80}$/.test(nonce) ? nonce : ports.randomId()}.${keyOf(action)}`
    const acted = await ports.act(view.caseId, { by: clinician, deliveryId }, action)
    return afterAct(c, view, action, acted)
  })

  const afterAct = async (c: TokenContext, view: CaseView, action: ClinicianAction, acted: Acted) => {
    switch (acted.kind) {
      case 'done': {
        const isRinging = action.kind === 'take' && action.doing.kind === 'ringing-now'
        const path = `/p/${c.req.param('token')}`
        const location = isRinging ? `${path}/ring?now` : `${path}?did=${action.kind}`
        return goTo(c, location)
      }
      case 'taken-by':
        return casePage(
          c,
          (await ports.case(view.caseId)) ?? view,
          wording('clinic-taken-by', { clinician: acted.name, now: ports.clockText(acted.at) }),
          409,
        )
      case 'refused':
        return casePage(c, (await ports.case(view.caseId)) ?? view, acted.why, 409)
    }
  }

  app.get('/p/ring/ring.js', c => {
    const headers = secureHeaders('none', isSecureRequest(c.req.raw, address))
    return new Response(ringScript, { headers: { ...headers, 'Content-Type': 'text/javascript; charset=utf-8' } })
  })

  app.get('/board', async c => {
    if (!ports.demonstration) {
      const who = await ports.signedIn?.(c.req.raw)
      if (who === undefined) return goTo(c, '/sign-in?onward=%2Fboard')
      if (!mayDo(who, 'see-board')) return notice(c, 403, 'clinic-not-allowed')
    }
    const board = await ports.board()
    const frame = {
      wording,
      clockText: (at: Instant) => ports.clockText(at),
      demonstration: ports.demonstration,
    }
    return respond(c, wording(board.isNight ? 'board-tonight' : 'board-now'), boardScreen(board, frame))
  })

  app.notFound(c => notice(c, 404, 'clinic-unknown'))
  // Whatever fails on the way of a press, it is not known to be kept: whoever pressed must not believe that it was.
  app.onError((_, c) => (c.req.method === 'POST' ? notice(c, 503, 'clinic-not-kept') : notice(c, 500, 'clinic-broken')))

  return { fetch: async request => app.fetch(request) }
}

/** Two different presses on one page are two actions; the same press twice is one. */
function keyOf(action: ClinicianAction): string {
  const what =
    action.kind === 'take' ? action.doing.kind : 'name' in action ? action.name : 'id' in action ? action.id : ''
  return `${action.kind}${what === '' ? '' : `-${what}`}`.replace(/[^\w.-]/g, '_').slice(0, 80)
}
