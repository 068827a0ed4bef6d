import type { Clinic } from '../oncall/clinic.ts'
import { coverageOf, type RungUncovered, type Uncovered } from '../oncall/coverage.ts'
import { rungsAt, rungsMissedAt } from '../oncall/ladder.ts'
import { rolesOf } from '../oncall/rota.ts'
import { type Stretch, stretchAt, stretches } from '../oncall/timeline.ts'
import { instantsOf, weekdayOf } from '../oncall/wall-time.ts'
import { after, days, type Instant } from '../time/instant.ts'
import { clockText } from '../time/local-time.ts'
import { dutyRow, isoText, momentText, nameOf, reasonText } from './rota-words.ts'

/** What `rota at`, `rota gaps` and `rota calendar` tell: a document for machines, lines for people, and whether all is well. */
export interface RotaTold {
  readonly document: unknown
  readonly lines: readonly string[]
  readonly isWell: boolean
}

const span = ({ from, until }: Uncovered) => ({ from: isoText(from), until: isoText(until) })

/** Who is paged at an instant, in order, and who is on call in each role, until when and why. */
export function toldAt(clinic: Clinic, at: Instant, now: Instant): RotaTold {
  const rungs = rungsAt(clinic, at).map(({ rung, id, name }) => ({ rung: rung + 1, id, name }))
  const missed = rungsMissedAt(clinic, at).map(one => ({ ...one, rung: one.rung + 1 }))
  const roles = rolesOf(clinic).map(role => ({ role, stretch: stretchAt(clinic, role, at) }))
  const duties = roles.flatMap(({ stretch }) => (stretch.duty === undefined ? [] : [dutyRow(clinic, stretch.duty)]))
  return {
    document: { at: isoText(at), rungs, missed, duties },
    lines: [
      ...rungs.map(({ rung, name }) => `${rung}. ${name}`),
      ...(rungs.length === 0 ? ['Nobody is paged at this moment: the ladder reaches nobody.'] : []),
      '',
      ...roles.map(({ role, stretch }) => `${role}: ${nowText(clinic, stretch, now)}`),
    ],
    isWell: rungs.length > 0,
  }
}

/** "Linh Tran from … until …, because of the weekly rota". */
function nowText(clinic: Clinic, { duty, away }: Stretch, now: Instant): string {
  if (duty !== undefined) {
    const until = momentText(clinic, duty.endsAt, now)
    return `${nameOf(clinic, duty.who)}, from ${momentText(clinic, duty.startsAt, now)} until ${until}; ${reasonText(clinic, duty)}`
  }
  return away === undefined ? 'nobody' : `nobody: ${nameOf(clinic, away.who)} is on leave`
}

/** Everything that is missing in the coming days. */
export function toldGaps(clinic: Clinic, now: Instant, count: number): RotaTold {
  const found = coverageOf(clinic, now, after(now, days(count)))
  const from = (one: Uncovered) =>
    `from ${momentText(clinic, one.from, now)} until ${momentText(clinic, one.until, now)}`
  const holes = found.rungs.map(
    one => `${one.role}: nobody ${from(one)}${one.because === 'nobody-on-call' ? '' : `; ${becauseText(clinic, one)}`}`,
  )
  const empty = found.empty.map(one => `The ladder reaches nobody at all ${from(one)}.`)
  const single = found.single.map(one => `${nameOf(clinic, one.id)} alone is the whole ladder ${from(one)}.`)
  const overlaps = found.overlaps.map(
    one =>
      `${one.role}: ${nameOf(clinic, one.pages)} and ${nameOf(clinic, one.also)} both ${from(one)}; ${nameOf(clinic, one.pages)} is paged.`,
  )
  return {
    document: {
      days: count,
      gaps: found.rungs.map(({ role, rung, because, who, ...one }) => ({
        ...{ role, rung: rung + 1, because },
        ...(who === undefined ? {} : { who }),
        ...span(one),
      })),
      empty: found.empty.map(span),
      single: found.single.map(one => ({ id: one.id, ...span(one) })),
      overlaps: found.overlaps.map(({ role, pages, also, ...one }) => ({ role, pages, also, ...span(one) })),
    },
    lines: [
      ...(holes.length + empty.length === 0 ? [`No gaps in the next ${count} days.`] : [...empty, ...holes]),
      ...single,
      ...overlaps,
    ],
    isWell: holes.length + empty.length === 0,
  }
}

function becauseText(clinic: Clinic, { because, who = '' }: RungUncovered): string {
  switch (because) {
    case 'nobody-on-call':
      return 'nobody stands there'
    case 'on-leave':
      return `${nameOf(clinic, who)} is on leave`
    case 'has-left':
      return `${nameOf(clinic, who)} has left the clinic`
    case 'no-address':
      return `${nameOf(clinic, who)} has no way to be paged`
    case 'unknown-id':
      return `nobody is called "${who}"`
  }
}

/** Each day of some local days, from `first`: who is on call in each role from when to when. */
export function toldCalendar(clinic: Clinic, first: number, count: number): RotaTold {
  const rows = Array.from({ length: count }, (_one, ahead) => {
    const day = first + ahead
    const [from, until] = [day, day + 1].map(one => instantsOf(clinic.zone, { day: one, minute: 0 }).earlier)
    const roles = rolesOf(clinic).map(role => ({
      role,
      pieces: from === undefined || until === undefined ? [] : stretches(clinic, role, from, until),
    }))
    return { day, date: isoText((day * 86_400_000) as Instant).slice(0, 10), roles }
  })
  const clock = (at: Instant) => clockText(at, clinic.zone, '24h', 'en')
  return {
    document: {
      days: rows.map(({ date, day, roles }) => ({
        date,
        ...(clinic.rota.holidays?.get(day) === undefined ? {} : { holiday: clinic.rota.holidays.get(day) }),
        roles: Object.fromEntries(
          roles.map(({ role, pieces }) => [
            role,
            pieces.map(({ from, until, duty }) => ({
              ...{ from: isoText(from), until: isoText(until) },
              duty: duty === undefined ? null : dutyRow(clinic, duty),
            })),
          ]),
        ),
      })),
    },
    lines: rows.flatMap(({ day, date, roles }) => [
      `${weekdayOf(day).slice(0, 3)} ${date}${clinic.rota.holidays?.has(day) ? ` (${clinic.rota.holidays.get(day)})` : ''}`,
      ...roles.map(
        ({ role, pieces }) =>
          `  ${role}: ${pieces
            .filter(({ duty }, place) => place === 0 || duty?.who !== pieces[place - 1]?.duty?.who)
            .map(({ from, duty }) => `${clock(from)} ${duty === undefined ? 'NOBODY' : nameOf(clinic, duty.who)}`)
            .join(', ')}`,
      ),
    ]),
    isWell: rows.every(({ roles }) => roles.every(({ pieces }) => pieces.every(({ duty }) => duty !== undefined))),
  }
}
