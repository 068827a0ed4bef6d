/** The page *On call*, worked out: who now and next, what is wrong, the month, people and their telephones. */
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import { roleText } from '../config/role-words.ts'
import type { ChangeForm, ChangeKind, Choice } from '../http/console/change-page.ts'
import type { MonthView, OnCallPerson, OnCallView } from '../http/console/on-call-page.ts'
import { type Clinic, type Person, peopleThere, reachableOf } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import type { Duty } from '../oncall/duty.ts'
import { rungsAt } from '../oncall/ladder.ts'
import { isOpen, openingsBetween } from '../oncall/opening.ts'
import { rolesOf } from '../oncall/rota.ts'
import { type Stretch, stretchAt, stretches } from '../oncall/timeline.ts'
import { dayNumberOf, instantsOf, type WallTime, wallTimeAt } from '../oncall/wall-time.ts'
import { after, days, elapsed, type Instant, instant } from '../time/instant.ts'
import { shiftValue } from './change-asked.ts'
import { undoUntil } from './clinic-changes.ts'
import { coverDoubts } from './cover-said.ts'
import { daysShown, dayTitle } from './days-shown.ts'
import type { DeskState } from './desk-file.ts'
import { momentText } from './now-view.ts'
import { wayText } from './page-ways.ts'
import { dayChoices, rungChoices } from './pattern-view.ts'
import type { PhoneWatch } from './phone-watch.ts'
import type { TestCallout, TestCallouts } from './test-callouts.ts'

export interface OnCallSources {
  readonly line: Line
  readonly at: Instant
  readonly wording: Wording
  readonly callouts: TestCallouts
  readonly phones: Pick<PhoneWatch, 'saidOf'>
}

const AHEAD_DAYS = 90
/** Findings shown, at most: the rest comes when these are mended. */
const WRONG_MOST = 12
/** A telephone that nobody has answered for so long is not known to ring. */
const CONFIRMED_DAYS = 30
const SHIFTS_DAYS = 42

export function onCallView(
  sources: OnCallSources,
  given: {
    readonly month: string | undefined
    readonly seen: string
    readonly undo: DeskState['undo']
    readonly mayChange: boolean
    readonly mayTest: (person: string) => boolean
    readonly numbers: NonNullable<DeskState['numbers']>
    readonly maySayNumber: (person: string) => boolean
    /** Whether this person may say that they have their telephone. */
    readonly maySay: (person: string) => boolean
  },
): OnCallView {
  const { line, at } = sources
  const { clinic } = line
  return {
    now: rolesOf(clinic).map(role => ({
      ...{ role: roleText(role, line.language), sentence: sentenceOf(role, sources) },
      ...phoneOf(role, sources, given.maySay),
    })),
    wrong: wrongIn(sources),
    month: monthOf(given.month, sources),
    people: peopleIn(sources, given),
    ladder: rungsAt(clinic, at).map(({ name }) => name),
    lines: linesIn(clinic, sources),
    ...(given.undo === undefined
      ? {}
      : { undo: { sentence: given.undo.sentence, until: undoUntil(line, given.undo) } }),
    seen: given.seen,
    mayChange: given.mayChange,
  }
}

const nameIn = (clinic: Clinic, id: string): string => reachableOf(clinic, id)?.name ?? id

/** "Amara Osei, now until today 8:00 am (swap with Tomás); then Linh Tran until …". */
function sentenceOf(role: string, { line, at, wording }: OnCallSources): string {
  const now = stretchAt(line.clinic, role, at)
  const next = stretchAt(line.clinic, role, now.until)
  const until = momentText(line, now.until, at)
  return wording('on-call-now', {
    name: whoIn(line.clinic, now, wording),
    until,
    why: reasonOf(now.duty, line.clinic, wording),
    next: whoIn(line.clinic, next, wording),
    nextUntil: momentText(line, next.until, at),
  })
}

/** Whether whoever is on call has said that they have the telephone. */
function phoneOf(
  role: string,
  { line, at, wording, phones }: OnCallSources,
  maySay: (person: string) => boolean,
): Partial<OnCallView['now'][number]> {
  const who = stretchAt(line.clinic, role, at).duty?.who
  if (who === undefined || reachableOf(line.clinic, who)?.kind !== 'person') return {}
  const said = phones.saidOf(who)
  const phone =
    said === undefined ? {} : { phone: wording(`phone-${said.kind}`, { now: momentText(line, said.at, at) }) }
  return { ...phone, ...(said?.kind !== 'said' && maySay(who) ? { say: who } : {}) }
}

function whoIn(clinic: Clinic, { duty, away }: Stretch, wording: Wording): string {
  if (duty !== undefined) return nameIn(clinic, duty.who)
  return away === undefined
    ? wording('now-nobody-short')
    : wording('on-call-nobody-away', { name: nameIn(clinic, away.who) })
}

/** Why a duty stands, where it is no plain week. */
function reasonOf(duty: Duty | undefined, clinic: Clinic, wording: Wording): string {
  if (duty === undefined || duty.by === 'pattern') return ''
  const why = duty.why === undefined ? '' : `: ${duty.why}`
  const of = nameIn(clinic, duty.swapped?.of ?? '')
  return ` (${wording(`on-call-by-${duty.by}`, { name: of, label: duty.holiday ?? '' })}${why})`
}

function wrongIn({ line, at, wording }: OnCallSources): OnCallView['wrong'] {
  const { clinic } = line
  const found = coverageOf(clinic, at, after(at, days(AHEAD_DAYS)))
  const times = ({ from, until }: { from: Instant; until: Instant }) => ({
    from: momentText(line, from, at),
    until: momentText(line, until, at),
  })
  const holes = found.rungs.map(hole => ({
    from: hole.from,
    says: wording(hole.who === undefined ? 'on-call-hole' : 'on-call-hole-of', {
      ...{ role: roleText(hole.role, line.language), ...times(hole) },
      name: hole.who === undefined ? '' : nameIn(clinic, hole.who),
    }),
    fill: `/on-call/change/cover?${new URLSearchParams({ role: hole.role, from: fieldText(clinic.zone, hole.from), until: fieldText(clinic.zone, hole.until) }).toString()}`,
  }))
  const others = coverDoubts(found, clinic, { line, wording, at })
  return [...holes, ...others].toSorted((a, b) => a.from - b.from).slice(0, WRONG_MOST)
}

// ---- The month ----

/** The first local day of a month said as `2026-03`; of the present one otherwise. */
function monthSaid(said: string | undefined, today: number): { readonly year: number; readonly month: number } {
  const [, year = 0, month = 0] = /^(\d{4})-(\d{2})$/.exec(said ?? '')?.map(Number) ?? []
  if (year >= 1970 && year < 2200 && month >= 1 && month <= 12) return { year, month }
  const date = new Date(today * 86_400_000)
  return { year: date.getUTCFullYear(), month: date.getUTCMonth() + 1 }
}

const monthId = (year: number, month: number): string => {
  const first = new Date(Date.UTC(year, month - 1, 1))
  return first.toISOString().slice(0, 7)
}

function monthOf(said: string | undefined, { line, at }: OnCallSources): MonthView {
  const { clinic, language } = line
  const today = wallTimeAt(clinic.zone, at).day
  const { year, month } = monthSaid(said, today)
  const first = dayNumberOf(year, month, 1) ?? today
  const next = new Date(Date.UTC(year, month, 1)).getTime() / 86_400_000
  return {
    id: monthId(year, month),
    title: dayTitle(first, language, { month: 'long', year: 'numeric' }),
    before: monthId(year, month - 1),
    after: monthId(year, month + 1),
    days: daysShown(line, { first, count: next - first, today, roles: rolesOf(clinic) }),
  }
}

// ---- People ----

function peopleIn(
  { line, at, wording, callouts }: OnCallSources,
  {
    mayTest,
    maySayNumber,
    numbers,
  }: {
    readonly mayTest: (person: string) => boolean
    readonly maySayNumber: (person: string) => boolean
    readonly numbers: NonNullable<DeskState['numbers']>
  },
): readonly OnCallPerson[] {
  return [...peopleThere(line.clinic), ...line.clinic.desks].map(one => ({
    id: one.id,
    name: one.name,
    job: one.kind === 'person' ? one.job : (one.words ?? ''),
    ...(one.privateNumber === undefined
      ? {}
      : {
          number: one.privateNumber,
          numberSaid: numberSaidText(one.privateNumber, numbers[one.id], { line, at, wording }),
          maySayNumber: maySayNumber(one.id),
        }),
    ways: one.pageAt.map(({ pager }) => wayText(pager, wording)),
    confirmed: confirmedText(one.id, { line, at, wording, callouts }),
    mayTest: one.pageAt.length > 0 && mayTest(one.id),
  }))
}

/** When somebody last said that this very number is right; after 30 days, and for another number, it is not known. */
function numberSaidText(
  number: string,
  said: NonNullable<DeskState['numbers']>[string] | undefined,
  { line, at, wording }: Pick<OnCallSources, 'line' | 'at' | 'wording'>,
): string {
  if (said?.number !== number) return wording('on-call-number-unsaid')
  const isOld = elapsed(said.at, at) > days(CONFIRMED_DAYS)
  return wording(isOld ? 'on-call-number-old' : 'on-call-number-said', {
    name: said.by,
    now: momentText(line, said.at, at),
  })
}

function confirmedText(who: string, { line, at, wording, callouts }: Omit<OnCallSources, 'phones'>): string {
  const answered = callouts.confirmedAt(who)
  const latest = callouts.latestOf(who)
  const sent =
    latest === undefined || latest.answeredAt !== undefined
      ? ''
      : ` ${wording('on-call-test-sent', { now: momentText(line, latest.at, at) })}`
  if (answered === undefined) return `${wording('on-call-unproved')}${sent}${lostText(latest, wording)}`
  const isOld = elapsed(answered, at) > days(CONFIRMED_DAYS)
  return `${wording(isOld ? 'on-call-confirmed-old' : 'on-call-confirmed', { now: momentText(line, answered, at) })}${sent}${lostText(latest, wording)}`
}

/** Ways that the last test was taken by and did not get through. */
const lostText = (latest: TestCallout | undefined, wording: Wording): string =>
  (latest?.lost ?? []).map(pager => ` ${wording('on-call-test-lost', { way: wayText(pager, wording) })}`).join('')

// ---- Dated lines, and the forms ----

function linesIn(clinic: Clinic, { line, at, wording }: OnCallSources): OnCallView['lines'] {
  const wall = (time: WallTime) => momentText(line, instantsOf(clinic.zone, time).earlier, at)
  const isPast = (time: WallTime) => instantsOf(clinic.zone, time).later < at
  const because = (why: string | undefined) => (why === undefined ? '' : ` (${why})`)
  const { changes, swaps = [], leave = [] } = clinic.rota
  return [
    ...changes.flatMap((one, index) =>
      isPast(one.until)
        ? []
        : [
            {
              section: 'changes' as const,
              line: index,
              says: `${wording('on-call-line-cover', { name: nameIn(clinic, one.who), role: roleText(one.role, line.language), from: wall(one.from), until: wall(one.until) })}${because(one.why)}`,
            },
          ],
    ),
    ...swaps.flatMap((one, index) =>
      isPast(one.shift.starts)
        ? []
        : [
            {
              section: 'swaps' as const,
              line: index,
              says: `${wording('on-call-line-swap', { name: nameIn(clinic, one.to), other: nameIn(clinic, one.of), role: roleText(one.shift.role, line.language), from: wall(one.shift.starts) })}${because(one.why)}`,
            },
          ],
    ),
    ...leave.flatMap((one, index) =>
      isPast(one.until)
        ? []
        : [
            {
              section: 'leave' as const,
              line: index,
              says: `${wording('on-call-line-leave', { name: nameIn(clinic, one.who), from: wall(one.from), until: wall(one.until) })}${because(one.why)}`,
            },
          ],
    ),
  ]
}

/** A form as it stands open: for tonight, unless something else was asked for. */
export function changeForm(
  kind: ChangeKind,
  given: Readonly<Record<string, string>>,
  seen: string,
  sources: OnCallSources,
): ChangeForm {
  const { clinic } = sources.line
  const roles = rolesOf(clinic)
  const tonight = tonightOf(clinic, roles[0] ?? '', sources.at)
  const shipped: Record<string, string> =
    kind === 'cover'
      ? {
          role: roles[0] ?? '',
          from: fieldText(clinic.zone, tonight.from),
          until: fieldText(clinic.zone, tonight.until),
        }
      : kind === 'rung-new'
        ? { when: 'always' }
        : {}
  return {
    kind,
    seen,
    people: clinic.people
      .filter(isNameable)
      .map(({ id, name }) => ({ value: id, label: name }))
      .concat(
        kind === 'cover' || kind === 'number' ? clinic.desks.map(({ id, name }) => ({ value: id, label: name })) : [],
      ),
    roles: roles.map(role => ({ value: role, label: roleText(role, sources.line.language) })),
    ...(kind === 'shift-new' ? { days: dayChoices(sources.wording) } : {}),
    ...(kind === 'rung-new' ? { rungs: rungChoices(sources.line, sources.wording) } : {}),
    shifts: kind === 'swap' ? shiftsAhead(sources) : [],
    values: { ...shipped, ...given },
  }
}

const isNameable = ({ left }: Person): boolean => left !== true

/** What is left of the night, or the whole of the next one while the clinic is open. */
function tonightOf(clinic: Clinic, role: string, at: Instant): { readonly from: Instant; readonly until: Instant } {
  const closes = isOpen(clinic, at)
    ? openingsBetween(clinic, at, at).find(({ opensAt, closesAt }) => opensAt <= at && at < closesAt)?.closesAt
    : undefined
  const stretch = stretchAt(clinic, role, closes ?? at)
  const from = instant(Math.max(closes ?? at, stretch.from))
  return { from, until: instant(Math.min(stretch.until, from + days(1))) }
}

function shiftsAhead({ line, at }: OnCallSources): readonly Choice[] {
  const { clinic } = line
  return rolesOf(clinic).flatMap(role =>
    stretches(clinic, role, at, after(at, days(SHIFTS_DAYS))).flatMap(({ duty }) =>
      duty === undefined || duty.startsAt < at
        ? []
        : [
            {
              value: shiftValue(role, duty.who, fieldText(clinic.zone, duty.startsAt)),
              label: `${momentText(line, duty.startsAt, at)} – ${clockOf(line, duty.endsAt)} · ${nameIn(clinic, duty.who)} (${roleText(role, line.language)})`,
            },
          ],
    ),
  )
}

/** `2026-03-01T18:00`: an instant as a browser's field for local times wants it. */
export function fieldText(zone: string, at: Instant): string {
  const { day, minute } = wallTimeAt(zone, at)
  const two = (value: number): string => String(value).padStart(2, '0')
  return `${new Date(day * 86_400_000).toISOString().slice(0, 10)}T${two(Math.floor(minute / 60))}:${two(minute % 60)}`
}
