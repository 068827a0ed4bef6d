import { readFileSync } from 'node:fs'
import { type Context, Hono } from 'hono'
import { html } from 'hono/html'
import type { Action } from '../../accounts/authority.ts'
import type { ReadSignedIn, SignedIn } from '../../accounts/signed-in.ts'
import { isSecureRequest, secureHeaders } from '../../channels/web-guard.ts'
import type { Html } from '../../channels/web-page.ts'
import type { Instant } from '../../time/instant.ts'
import { clinicNav } from '../clinic-nav.ts'
import { type ClinicAnswers, type ClinicPagePorts, clinicAnswers, type PageOptions } from '../clinic-page.ts'
import { type Gate, gate } from '../gate.ts'
import { type FlowsPorts, flowsRoutes } from './flows-routes.ts'
import type { ConsoleFrame } from './frame.ts'
import { type NowPorts, nowRoutes } from './now-routes.ts'
import { type OnCallPorts, onCallRoutes } from './on-call-routes.ts'
import { type ReviewsPorts, reviewsRoutes } from './reviews-routes.ts'
import { type SettingsPorts, settingsRoutes } from './settings-routes.ts'
import { type TestCalloutPorts, testCalloutPages } from './test-callout-pages.ts'
import { type TrailPorts, trailRoutes } from './trail-routes.ts'

/** What all pages of the clinic's own people stand on. */
export interface ConsoleBase extends ClinicPagePorts {
  readonly signedIn: ReadSignedIn
  /** Told of whoever was signed in and may not. */
  refused(who: SignedIn, action: Action): Promise<void>
  now(): Instant
  /** Clock time in the clinic's zone and form. */
  clockText(at: Instant): string
}

export interface ConsolePorts extends ConsoleBase {
  readonly tonight: NowPorts
  readonly flows: FlowsPorts
  readonly trail: TrailPorts
  readonly onCall: OnCallPorts & TestCalloutPorts & SettingsPorts
  readonly reviews: ReviewsPorts
}

/** What a page's routes are made with. */
export interface ConsoleSite {
  readonly base: ConsoleBase
  readonly gate: Gate
  readonly answers: ClinicAnswers
  /** @param note  what the last press did, or why it did nothing */
  frame(note?: string): ConsoleFrame
  /** A page with the ways to the others above it. */
  show(c: Context, who: SignedIn, here: string, title: string, body: Html, options?: PageOptions): Promise<Response>
}

export interface Console {
  /** Paths it answers, with all below them. */
  readonly paths: readonly string[]
  readonly routes: Gate['routes']
  fetch(request: Request): Promise<Response>
}

/** The pages of the clinic's own people: what goes on now, who is on call, what families are told. */
export function consolePages(ports: ConsolePorts): Console {
  const app = new Hono()
  const answers = clinicAnswers(ports)
  const gated = gate(app, { signedIn: ports.signedIn, answers, refused: (who, action) => ports.refused(who, action) })
  const { wording } = ports
  const site: ConsoleSite = {
    base: ports,
    gate: gated,
    answers,
    frame: note => ({
      wording,
      clockText: at => ports.clockText(at),
      formNonce: ports.randomId(),
      ...(note === undefined ? {} : { note }),
    }),
    show: (c, who, here, title, body, options) =>
      answers.respond(c, title, html`${clinicNav(who, here, wording)}${body}`, options),
  }
  nowRoutes(site, ports.tonight)
  onCallRoutes(site, ports.onCall)
  settingsRoutes(site, ports.onCall)
  flowsRoutes(site, ports.flows)
  reviewsRoutes(site, ports.reviews)
  trailRoutes(site, ports.trail)
  testCalloutPages(app, answers, ports, ports.onCall)
  script(app, '/now/now.js', './now.js')
  app.notFound(c => answers.notice(c, 404, 'clinic-unknown'))
  // Whatever fails on the way of a press, it is not known to be kept: whoever pressed must not believe that it was.
  app.onError((_, c) =>
    answers.notice(
      c,
      c.req.method === 'POST' ? 503 : 500,
      c.req.method === 'POST' ? 'clinic-not-kept' : 'clinic-broken',
    ),
  )

  function script(to: Hono, path: string, file: string): void {
    const text = readFileSync(new URL(file, import.meta.url), 'utf8')
    to.get(path, c => {
      const headers = secureHeaders('none', isSecureRequest(c.req.raw, answers.address))
      return new Response(text, { headers: { ...headers, 'Content-Type': 'text/javascript; charset=utf-8' } })
    })
  }

  return {
    paths: ['/now', '/on-call', '/flows', '/settings', '/trail', '/reviews', '/p/test'],
    routes: gated.routes,
    fetch: async request => app.fetch(request),
  }
}
