/** What the pages about calendars need, from the bot that runs. */
import { isWhole } from '../calendar/read.ts'
import type { CalendarNamed } from '../config/calendar-copy.ts'
import { CalendarRefused } from '../config/calendar-refused.ts'
import { roleText } from '../config/role-words.ts'
import type { CalendarRow } from '../http/console/calendar-page.ts'
import type { CalendarLooked, CalendarPorts } from '../http/console/calendar-routes.ts'
import { rolesOf } from '../oncall/rota.ts'
import { readApart } from './calendar-apart.ts'
import type { CalendarDrafts, CalendarGiven } from './calendar-drafts.ts'
import type { CalendarFeeds } from './calendar-feeds.ts'
import { CalendarUnreachable, fetchCalendar } from './calendar-fetch.ts'
import { type CalendarSaid, calendarTrouble, heldText, refusedText, unreachableText } from './calendar-said.ts'
import { momentText } from './now-view.ts'

const FETCH_MS = 20_000
/** Titles that may be passed over in one calendar, at most. */
const IGNORES_MOST = 50

export interface CalendarSideOptions {
  readonly calendars: () => readonly CalendarNamed[]
  readonly feeds: () => Pick<CalendarFeeds, 'stateOf' | 'refresh'> | undefined
  readonly drafts: CalendarDrafts
  readonly said: () => CalendarSaid
}

type Given = Pick<CalendarGiven, 'role' | 'from' | 'onlyPublic' | 'ignores'>

export function calendarSide({ calendars, feeds, drafts, said }: CalendarSideOptions): CalendarPorts {
  const named = (role: string) => calendars().find(one => one.role === role)
  const refused = (id: string): CalendarLooked => ({ kind: 'refused', because: said().wording(id) })

  /** Reads a text as the calendar of a role, and keeps it for the next press. */
  async function looked(text: string, given: Given): Promise<CalendarLooked> {
    const { line, at } = said()
    const { role, ignores, from } = given
    // What is no UTF-8 has become this sign: a name with it would be somebody else's.
    if (text.includes('\uFFFD')) throw new CalendarRefused('CALENDAR_UNREADABLE', 'it is not UTF-8')
    const read = await readApart({ text, clinic: line.clinic, role, ignores, at, source: from ?? 'a page' })
    const { copy, wholeDays, withoutZone } = read
    const draft = drafts.keep({ ...given, text, copy, isWhole: isWhole(read), wholeDays, withoutZone })
    return isWhole(read) ? { kind: 'ready', draft } : { kind: 'trouble', trouble: calendarTrouble(draft, read, said()) }
  }

  async function fetched(from: string, given: Given): Promise<CalendarLooked> {
    const rules = { onlyPublic: given.onlyPublic, loopback: said().line.clinic.demonstration }
    return looked(await fetchCalendar(from, AbortSignal.timeout(FETCH_MS), rules), { ...given, from })
  }

  /** What cannot be read, and what does not come, is told; nothing is changed by it. */
  async function told(read: () => Promise<CalendarLooked>): Promise<CalendarLooked> {
    try {
      return await read()
    } catch (cause) {
      const { wording } = said()
      if (cause instanceof CalendarRefused) return { kind: 'refused', because: unchanged(refusedText(cause, wording)) }
      if (cause instanceof CalendarUnreachable)
        return { kind: 'refused', because: unchanged(unreachableText(cause, wording)) }
      throw cause
    }
  }
  const unchanged = (why: string): string => `${why} ${said().wording('on-call-calendar-unchanged')}`

  function rowOf(one: CalendarNamed): CalendarRow {
    const { line, wording, at } = said()
    const when = (moment: Parameters<typeof momentText>[1]) => momentText(line, moment, at)
    const { readAt, held } = feeds()?.stateOf(one.role) ?? {}
    const { copy, from } = one
    const read = readAt ?? copy?.readAt
    const last = Math.max(...(copy?.shifts ?? []).map(({ until }) => until))
    return {
      role: one.role,
      name: roleText(one.role, line.language),
      isLive: from !== undefined,
      says: [
        from === undefined
          ? wording('on-call-calendar-once', { now: read === undefined ? '' : when(read) })
          : wording('on-call-calendar-live', { label: new URL(from).host, now: read === undefined ? '' : when(read) }),
        copy === undefined
          ? wording('on-call-calendar-lost')
          : last > at
            ? wording('on-call-calendar-last', { until: when(last as typeof at) })
            : wording('on-call-calendar-ended'),
      ],
      ...(held === undefined
        ? {}
        : { trouble: wording('on-call-calendar-held', { now: when(held.since), why: heldText(held.why, wording) }) }),
    }
  }

  return {
    calendars(mayChange) {
      const { clinic, language } = said().line
      return {
        calendars: calendars().map(rowOf),
        roles: rolesOf(clinic).map(role => ({ value: role, label: roleText(role, language) })),
        mayChange,
      }
    },
    async read({ role, address, text }) {
      const { clinic } = said().line
      if (!rolesOf(clinic).includes(role) || (address === '') === (text.trim() === ''))
        return refused('on-call-calendar-one-only')
      const given = { role, ignores: named(role)?.ignores ?? [] }
      return told(() =>
        address === ''
          ? looked(text, { ...given, onlyPublic: false })
          : fetched(address, { ...given, onlyPublic: true }),
      )
    },
    async readLive(role) {
      const { from, ignores = [], onlyPublic = false } = named(role) ?? {}
      if (from === undefined) return refused('on-call-calendar-not-live')
      return told(() => fetched(from, { role, ignores, onlyPublic }))
    },
    async ignore(id, titles) {
      const given = drafts.of(id)
      if (given === undefined) return refused('on-call-calendar-forgotten')
      const ignores = [...new Set([...given.ignores, ...titles])].slice(0, IGNORES_MOST)
      return told(() => looked(given.text, { ...given, ignores }))
    },
    async refresh(role) {
      const state = await feeds()?.refresh(role)
      const { wording } = said()
      if (state === undefined) return wording('on-call-calendar-not-live')
      return state.held === undefined ? wording('on-call-calendar-taken') : unchanged(heldText(state.held.why, wording))
    },
  }
}
