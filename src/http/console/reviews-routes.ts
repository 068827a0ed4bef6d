import type { Context } from 'hono'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { isSecureRequest, secureHeaders } from '../../channels/web-guard.ts'
import type { FigureTable } from '../../review/figure-table.ts'
import { type Fields, fieldIn } from '../gate.ts'
import type { ConsoleSite } from './console.ts'
import { type ActionsView, actionsScreen } from './review-actions-page.ts'
import { figuresScreen, type QueueView, queueScreen, type ReviewedView, reviewedScreen } from './reviews-page.ts'

/** What a press came to: done, or why not, in words. */
export interface ReviewSaid {
  readonly isDone: boolean
  readonly says: string
}

/** What the pages *Reviews* need from the rest of the bot. */
export interface ReviewsPorts {
  queue(who: SignedIn, month: string | undefined): Promise<QueueView>
  draw(who: SignedIn, month: string): Promise<ReviewSaid>
  /** @param step  how far it is shown; left out: the whole. Undefined where the case is not drawn or not there any more. */
  reviewed(who: SignedIn, caseId: string, step: number | undefined): Promise<ReviewedView | undefined>
  /** One sheet of the picture of its flow with the way marked as far as `step`, as SVG. */
  sheet(caseId: string, number: number, step: number): Promise<string | undefined>
  /** @param fields  as the form sends them: `item.ID`, `safe`, `should`, `note` */
  score(who: SignedIn, caseId: string, fields: Fields): Promise<ReviewSaid>
  months(): readonly string[]
  actions(): Promise<ActionsView>
  /** @param fields  `says`, `owner`, `due` */
  addAction(who: SignedIn, caseId: string, fields: Fields): Promise<ReviewSaid>
  /** @param fields  `how`, `says` */
  endAction(who: SignedIn, number: number, fields: Fields): Promise<ReviewSaid>
  report(month: string | undefined): Promise<readonly FigureTable[]>
  /** Undefined while they are being worked out for the first time. */
  figures(month: string | undefined): Promise<readonly FigureTable[] | undefined>
}

const CASE_ID = /^[0-9a-f]{32}$/
const MONTH = /^\d{4}-(0[1-9]|1[0-2])$/
const STEPS_MOST = 10_000

export function reviewsRoutes({ base, gate, answers, show, frame }: ConsoleSite, ports: ReviewsPorts): void {
  const { wording } = base
  const monthIn = (c: Context): string | undefined => {
    const said = c.req.query('month') ?? ''
    return MONTH.test(said) ? said : undefined
  }
  const caseIn = (c: Context): string => {
    const said = c.req.param('caseId') ?? ''
    return CASE_ID.test(said) ? said : ''
  }
  const stepIn = (c: Context): number | undefined => {
    const said = Number(c.req.query('step'))
    return Number.isInteger(said) && said > 0 && said < STEPS_MOST ? said : undefined
  }

  async function queue(
    c: Context,
    who: SignedIn,
    month: string | undefined,
    said?: string,
    status = 200,
  ): Promise<Response> {
    const view = await ports.queue(who, month)
    return show(c, who, '/reviews', wording('reviews-heading'), queueScreen(view, frame(said)), { status })
  }
  gate.get('/reviews', 'review-cases', (c, who) =>
    queue(c, who, monthIn(c), c.req.query('did') === 'scored' ? wording('reviews-did-scored') : undefined),
  )
  gate.post('/reviews/draw', 'review-cases', async (c, who, fields) => {
    const month = fieldIn(fields, 'month')
    if (!MONTH.test(month)) return queue(c, who, undefined, wording('clinic-choose'), 422)
    if (fieldIn(fields, 'sure') !== 'yes') return queue(c, who, month, wording('reviews-draw-sure-asked'), 422)
    const said = await ports.draw(who, month)
    return queue(c, who, month, said.says, said.isDone ? 200 : 409)
  })

  async function reviewed(
    c: Context,
    who: SignedIn,
    told: { says?: string; status?: number; filled?: Fields } = {},
  ): Promise<Response> {
    const view = await ports.reviewed(who, caseIn(c), stepIn(c))
    if (view === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const filled = told.filled === undefined ? view : { ...view, filled: told.filled }
    const title = wording('reviews-case', { count: view.number })
    return show(c, who, '/reviews', title, reviewedScreen(filled, frame(told.says)), { status: told.status ?? 200 })
  }
  gate.get('/reviews/case/:caseId', 'review-cases', (c, who) => reviewed(c, who))
  gate.post('/reviews/case/:caseId/score', 'review-cases', async (c, who, fields) => {
    const said = await ports.score(who, caseIn(c), fields)
    return said.isDone
      ? answers.goTo(c, '/reviews?did=scored')
      : reviewed(c, who, { says: said.says, status: 422, filled: fields })
  })

  gate.post('/reviews/case/:caseId/action', 'review-cases', async (c, who, fields) => {
    const said = await ports.addAction(who, caseIn(c), fields)
    return said.isDone
      ? answers.goTo(c, '/reviews/actions?did=action')
      : reviewed(c, who, { says: said.says, status: 422, filled: fields })
  })

  async function actions(c: Context, who: SignedIn, says?: string, status = 200): Promise<Response> {
    const body = actionsScreen(await ports.actions(), frame(says))
    return show(c, who, '/reviews', wording('reviews-actions'), body, { status })
  }
  gate.get('/reviews/actions', 'review-cases', (c, who) => {
    const did = c.req.query('did')
    const says = did === 'action' ? 'reviews-action-did' : did === 'ended' ? 'reviews-action-end-did' : undefined
    return actions(c, who, says === undefined ? undefined : wording(says))
  })
  gate.post('/reviews/actions/:number', 'review-cases', async (c, who, fields) => {
    const number = Number(c.req.param('number'))
    const said = await ports.endAction(who, Number.isSafeInteger(number) ? number : 0, fields)
    return said.isDone ? answers.goTo(c, '/reviews/actions?did=ended') : actions(c, who, said.says, 422)
  })

  gate.get('/reviews/case/:caseId/picture/:number', 'review-cases', async c => {
    const svg = await ports.sheet(caseIn(c), Number(c.req.param('number')), stepIn(c) ?? STEPS_MOST)
    if (svg === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const headers = secureHeaders('none', isSecureRequest(c.req.raw, answers.address))
    // Styles of the picture stand in it; nothing in it is a script, and nothing is fetched.
    const policy = "default-src 'none'; style-src 'unsafe-inline'"
    return new Response(svg, {
      headers: { ...headers, 'Content-Security-Policy': policy, 'Content-Type': 'image/svg+xml; charset=utf-8' },
    })
  })

  gate.get('/reviews/report', 'review-cases', async (c, who) => {
    const month = monthIn(c)
    const heading = wording('reviews-report')
    const body = figuresScreen(
      heading,
      wording('reviews-report-says'),
      await ports.report(month),
      frame(),
      ports.months(),
      { path: '/reviews/report', month },
    )
    return show(c, who, '/reviews', heading, body)
  })
  gate.get('/reviews/figures', 'see-figures', async (c, who) => {
    const month = monthIn(c)
    const heading = wording('reviews-figures')
    const tables = await ports.figures(month)
    const body = figuresScreen(
      heading,
      wording(tables === undefined ? 'reviews-figures-later' : 'reviews-figures-says'),
      tables ?? [],
      frame(),
      ports.months(),
      { path: '/reviews/figures', month },
    )
    return show(c, who, '/reviews/figures', heading, body)
  })
}
