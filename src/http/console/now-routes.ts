import type { Context } from 'hono'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { after, hours, type Instant } from '../../time/instant.ts'
import { type Fields, fieldIn } from '../gate.ts'
import type { ConsoleSite } from './console.ts'
import { type LineNotice, NOTICE_HOURS, noticeScreen } from './notice-page.ts'
import { type NowView, nowScreen } from './now-page.ts'
import { type TonightSheet, tonightScreen } from './tonight-page.ts'

/** What the page *Now* needs from the rest of the bot. */
export interface NowPorts {
  view(): Promise<NowView>
  /** Path of the case's page for this person; undefined where there is no such case. */
  casePath(who: SignedIn, caseId: string): Promise<string | undefined>
  /** Names who looks after a case in the clinic's day. The same key twice is one press. */
  giveForDay(who: SignedIn, caseId: string, taker: string, key: string): Promise<'done' | 'nobody' | 'nothing'>
  /** Whether the page of a case was worth waking for. */
  judge(caseId: string, isWorth: boolean): void
  /** Signs the night over, unless something urgent is nobody's yet: then the codes of that. */
  signOver(who: SignedIn): Promise<readonly string[]>
  sheet(): Promise<TonightSheet>
  notice(): LineNotice | undefined
  setNotice(who: SignedIn, notice: LineNotice | undefined): Promise<void>
  /** A notice as families read it, in each of their languages. */
  noticeShown(notice: LineNotice): readonly string[]
}

/** Where on a case's page a link leads. */
const PLACES: Readonly<Record<string, string>> = {
  told: '#clinic-told',
  write: '#clinic-write',
  outcome: '#clinic-end',
}
const CASE_ID = /^[0-9a-f]{32}$/

export function nowRoutes({ base, gate, answers, show, frame }: ConsoleSite, ports: NowPorts): void {
  const { wording } = base

  async function now(c: Context, who: SignedIn, note?: string, status = 200): Promise<Response> {
    const view = await ports.view()
    const title = wording(view.isNight ? 'board-tonight' : 'board-now')
    return show(c, who, '/now', title, nowScreen(view, frame(note)), {
      status,
      script: '/now/now.js',
      scriptWords: {
        now: String(view.at),
        in: wording('now-in-minutes', { count: '#' }),
        over: wording('now-over-minutes', { count: '#' }),
      },
    })
  }

  const DID = new Set(['day-given', 'day-signed', 'day-judged', 'notice-done'])
  gate.get('/now', 'see-board', (c, who) => {
    const did = c.req.query('did') ?? ''
    return now(c, who, DID.has(did) ? wording(did) : undefined)
  })

  gate.get(
    '/now/open/:caseId',
    'see-case',
    async (c, who) => {
      const path = await ports.casePath(who, c.req.param('caseId') ?? '')
      const place = PLACES[c.req.query('to') ?? ''] ?? ''
      return path === undefined ? answers.notice(c, 404, 'clinic-unknown') : answers.goTo(c, `${path}${place}`)
    },
    c => ({ caseId: c.req.param('caseId') ?? '' }),
  )

  gate.post('/now/day/:caseId', 'hand-over', async (c, who, fields) => {
    const caseId = c.req.param('caseId') ?? ''
    const taker = fieldIn(fields, 'taker')
    if (taker === '' || !CASE_ID.test(caseId)) return now(c, who, wording('clinic-choose'), 422)
    const given = await ports.giveForDay(who, caseId, taker, keyIn(fields, base.randomId()))
    if (given === 'done') return answers.goTo(c, '/now?did=day-given#day')
    return now(c, who, wording(given === 'nobody' ? 'day-no-such-person' : 'clinic-nothing'), 409)
  })

  gate.post('/now/worth/:caseId', 'hand-over', async (c, who, fields) => {
    const caseId = c.req.param('caseId') ?? ''
    const worth = fieldIn(fields, 'worth')
    if (!CASE_ID.test(caseId) || (worth !== 'yes' && worth !== 'no')) return now(c, who, wording('clinic-choose'), 422)
    ports.judge(caseId, worth === 'yes')
    return answers.goTo(c, '/now?did=day-judged#day')
  })

  gate.post('/now/sign-over', 'hand-over', async (c, who) => {
    const untaken = await ports.signOver(who)
    if (untaken.length === 0) return answers.goTo(c, '/now?did=day-signed#day')
    return now(c, who, wording('day-not-signed', { code: untaken.join(', ') }), 409)
  })

  gate.get('/now/print', 'print-tonight', async (c, who) => {
    const sheet = await ports.sheet()
    return show(c, who, '/now', sheet.heading, tonightScreen(sheet, wording))
  })

  const notice = (c: Context, who: SignedIn, note?: string, status = 200) => {
    const set = ports.notice()
    const shown = set === undefined ? [] : ports.noticeShown(set)
    return show(c, who, '/now', wording('notice-heading'), noticeScreen(set, shown, frame(note)), { status })
  }
  gate.get('/now/notice', 'close-line', (c, who) => notice(c, who))
  gate.post('/now/notice', 'close-line', async (c, who, fields) => {
    const wanted = noticeIn(fields, base.now())
    if (wanted === 'unreadable') return notice(c, who, wording('clinic-choose'), 422)
    await ports.setNotice(who, wanted)
    return answers.goTo(c, '/now?did=notice-done')
  })
}

function noticeIn(fields: Fields, at: Instant): LineNotice | undefined | 'unreadable' {
  const kind = fieldIn(fields, 'kind')
  if (kind === 'none') return undefined
  if (kind !== 'closed' && kind !== 'reduced') return 'unreadable'
  const said = fieldIn(fields, 'hours')
  if (said === '') return { kind }
  const count = NOTICE_HOURS.find(each => String(each) === said)
  return count === undefined ? 'unreadable' : { kind, until: after(at, hours(count)) }
}

/** The form's nonce, so that the same press twice is one; else one that nobody else has. */
export function keyIn(fields: Fields, otherwise: string): string {
  const nonce = fieldIn(fields, 'nonce')
  return /^[\w-]{8,80}$/.test(nonce) ? nonce : otherwise
}
