import type { Context, Hono } from 'hono'
import { html } from 'hono/html'
import { isSameOrigin } from '../../channels/web-guard.ts'
import type { ClinicAnswers, ClinicPagePorts } from '../clinic-page.ts'

/** What the page behind the link of a test call-out needs. Whoever has the link may answer it, and nothing else. */
export interface TestCalloutPorts {
  /** Whose test it is and when it was sent; undefined where the link is none of ours or has run out. */
  testOf(token: string): { readonly name: string; readonly sent: string; readonly answered?: string } | undefined
  /** Notes that its owner has the telephone. False where there is no such test. */
  answer(token: string): boolean
}

/** Opening the link answers nothing: a mail program that looks ahead would prove a telephone that nobody has. */
export function testCalloutPages(
  app: Hono,
  answers: ClinicAnswers,
  { wording }: Pick<ClinicPagePorts, 'wording'>,
  ports: TestCalloutPorts,
): void {
  const show = (c: Context): Promise<Response> => {
    const test = ports.testOf(c.req.param('token') ?? '')
    if (test === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const body = html`<main id="main"><h1>${wording('on-call-test-heading')}</h1>
<p>${wording('on-call-test-means', { name: test.name, now: test.sent })}</p>
${test.answered === undefined ? html`<form method="post"><button class="main-button">${wording('on-call-test-have')}</button></form>` : html`<p class="note">${wording('on-call-test-answered', { now: test.answered })}</p>`}
</main>`
    return answers.respond(c, wording('on-call-test-heading'), body)
  }
  app.get('/p/test/:token', show)
  app.post('/p/test/:token', c => {
    if (!isSameOrigin(c.req.raw, answers.address)) return answers.notice(c, 403, 'clinic-other-site')
    const token = c.req.param('token')
    return ports.answer(token)
      ? Promise.resolve(answers.goTo(c, `/p/test/${token}`))
      : answers.notice(c, 404, 'clinic-unknown')
  })
}
