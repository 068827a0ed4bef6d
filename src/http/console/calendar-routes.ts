import type { Context } from 'hono'
import { mayDo } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { fieldIn, type PostRead, partsOf } from '../gate.ts'
import { type CalendarsView, type CalendarTrouble, calendarsScreen, calendarTroubleScreen } from './calendar-page.ts'
import type { ConsoleSite } from './console.ts'

/** A calendar as somebody gives it: one of address and text. */
export interface CalendarAsked {
  readonly role: string
  readonly address: string
  /** Of a file, or pasted. */
  readonly text: string
}

export type CalendarLooked =
  /** Kept under this id, to be looked at and saved. */
  | { readonly kind: 'ready'; readonly draft: string }
  | { readonly kind: 'trouble'; readonly trouble: CalendarTrouble }
  | { readonly kind: 'refused'; readonly because: string }

/** What the pages about calendars need from the rest of the bot. */
export interface CalendarPorts {
  calendars(mayChange: boolean): CalendarsView
  read(asked: CalendarAsked): Promise<CalendarLooked>
  /** The live calendar of a role, read as it is now for somebody to look at. */
  readLive(role: string): Promise<CalendarLooked>
  /** The same calendar, with events of these titles passed over. */
  ignore(draft: string, titles: readonly string[]): Promise<CalendarLooked>
  /** Looks at the live calendar of a role now; what came of it. */
  refresh(role: string): Promise<string>
}

/** Largest calendar that a page takes, in bytes: twenty thousand events, more than any rota of one role has. */
const CALENDAR_POST_BYTES = 4_000_000

export function calendarRoutes({ base, gate, answers, show, frame }: ConsoleSite, ports: CalendarPorts): void {
  const { wording } = base
  const title = wording('on-call-calendar-heading')

  const list = (c: Context, who: SignedIn, note?: string, status = 200, given: Record<string, string> = {}) => {
    const view = ports.calendars(mayDo(who, 'change-on-call'))
    return show(c, who, '/on-call', title, calendarsScreen(view, given, frame(note)), { status })
  }

  async function looked(c: Context, who: SignedIn, found: CalendarLooked, given?: Record<string, string>) {
    switch (found.kind) {
      case 'ready':
        return answers.goTo(c, `/on-call/change/calendar?draft=${found.draft}`)
      case 'trouble': {
        const body = calendarTroubleScreen(found.trouble, frame())
        return show(c, who, '/on-call', wording('on-call-calendar-trouble'), body, { status: 422 })
      }
      case 'refused':
        return list(c, who, found.because, 422, given)
    }
  }

  gate.get('/on-call/calendar', 'see-on-call', (c, who) => list(c, who))

  // Too much is told on the page itself, beside the form.
  const read: PostRead = async c => (await partsOf(c, CALENDAR_POST_BYTES)) ?? new Map([['too-large', ['yes']]])

  gate.post(
    '/on-call/calendar',
    'change-on-call',
    async (c, who, fields) => {
      if (fields.has('too-large')) return list(c, who, wording('on-call-calendar-post-large'), 413)
      const [role, address] = [fieldIn(fields, 'role'), fieldIn(fields, 'address').trim()]
      const text = [fieldIn(fields, 'file'), fieldIn(fields, 'text')].find(each => each.trim() !== '') ?? ''
      return looked(c, who, await ports.read({ role, address, text }), { role, address })
    },
    { read },
  )

  gate.post('/on-call/calendar/ignore', 'change-on-call', async (c, who, fields) =>
    looked(c, who, await ports.ignore(fieldIn(fields, 'draft'), fields.get('ignore') ?? [])),
  )

  gate.post('/on-call/calendar/live', 'change-on-call', async (c, who, fields) => {
    const role = fieldIn(fields, 'role')
    if (fieldIn(fields, 'act') === 'again') return looked(c, who, await ports.readLive(role))
    return list(c, who, await ports.refresh(role))
  })
}
