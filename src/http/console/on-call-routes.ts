import type { Context } from 'hono'
import { mayDo } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { fieldIn } from '../gate.ts'
import { type CalendarPorts, calendarRoutes } from './calendar-routes.ts'
import { type ChangePorts, changeRoutes } from './change-routes.ts'
import type { ConsoleSite } from './console.ts'
import { keyIn } from './now-routes.ts'
import { type OnCallView, onCallScreen } from './on-call-page.ts'
import { type PatternView, patternScreen } from './pattern-page.ts'

/** What the page *On call* needs from the rest of the bot. */
export interface OnCallPorts extends ChangePorts {
  readonly calendar: CalendarPorts
  /** @param month  `2026-03`; the present one where it is left out or none */
  view(who: SignedIn, month: string | undefined, mayChange: boolean): Promise<OnCallView>
  /** What comes back each week, and the order of paging. */
  pattern(): PatternView
  /** Takes back what was changed last, within ten minutes. */
  undo(who: SignedIn): Promise<'done' | 'too-late' | 'changed-since'>
  /** Somebody has their telephone. False where it is not their turn. */
  havePhone(person: string): boolean
  /** The telephone number of a person or desk is right. False where they have another, or none. */
  numberIsRight(who: SignedIn, person: string, number: string): boolean
  /** Sends a test call-out; undefined where nobody has this id or no way to be reached. */
  test(who: SignedIn, person: string, key: string): Promise<string | undefined>
}

export function onCallRoutes(site: ConsoleSite, ports: OnCallPorts): void {
  const { base, gate, answers, show, frame } = site
  const { wording } = base

  async function onCall(c: Context, who: SignedIn, note?: string, status = 200): Promise<Response> {
    const view = await ports.view(who, c.req.query('month'), mayDo(who, 'change-on-call'))
    return show(c, who, '/on-call', wording('on-call-heading'), onCallScreen(view, frame(note)), { status })
  }

  const DID = new Set(['saved', 'undone', 'tested', 'phone', 'number'])
  gate.get('/on-call', 'see-on-call', (c, who) => {
    const did = c.req.query('did') ?? ''
    return onCall(c, who, DID.has(did) ? wording(`on-call-did-${did}`) : undefined)
  })

  gate.get('/on-call/pattern', 'see-on-call', (c, who) => {
    const body = patternScreen(ports.pattern(), mayDo(who, 'change-on-call'), { wording })
    return show(c, who, '/on-call', wording('pattern-heading'), body)
  })

  calendarRoutes(site, ports.calendar)
  changeRoutes(site, ports, { page: '/on-call', kinds: { ...onCallKinds } })

  gate.post('/on-call/undo', 'change-on-call', async (c, who) => {
    const undone = await ports.undo(who)
    if (undone === 'done') return answers.goTo(c, '/on-call?did=undone')
    return onCall(c, who, wording(`on-call-undo-${undone}`), 409)
  })

  gate.post(
    '/on-call/phone/:person',
    'confirm-own-phone',
    async (c, who) => {
      if (ports.havePhone(c.req.param('person') ?? '')) return answers.goTo(c, '/on-call?did=phone')
      return onCall(c, who, wording('on-call-not-your-turn'), 409)
    },
    c => ({ personId: c.req.param('person') ?? '' }),
  )

  gate.post(
    '/on-call/number/:person',
    'confirm-number',
    async (c, who, fields) => {
      if (ports.numberIsRight(who, c.req.param('person') ?? '', fieldIn(fields, 'number')))
        return answers.goTo(c, '/on-call?did=number')
      return onCall(c, who, wording('on-call-number-other'), 409)
    },
    c => ({ personId: c.req.param('person') ?? '' }),
  )

  gate.post(
    '/on-call/test/:person',
    'test-call-out',
    async (c, who, fields) => {
      const told = await ports.test(who, c.req.param('person') ?? '', keyIn(fields, base.randomId()))
      if (told === undefined) return onCall(c, who, wording('on-call-test-nobody'), 409)
      return onCall(c, who, told)
    },
    c => ({ personId: c.req.param('person') ?? '' }),
  )
}

/** What the page changes, with the right it takes. */
const onCallKinds = {
  cover: 'change-on-call',
  swap: 'change-on-call',
  leave: 'change-on-call',
  number: 'change-on-call',
  'take-back': 'change-on-call',
  weekly: 'change-on-call',
  rung: 'change-on-call',
  'rung-new': 'change-on-call',
  'shift-new': 'change-on-call',
  'shift-out': 'change-on-call',
  'role-new': 'change-on-call',
  calendar: 'change-on-call',
  'calendar-stop': 'change-on-call',
  'calendar-out': 'change-on-call',
} as const
