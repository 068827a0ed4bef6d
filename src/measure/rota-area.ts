import type { Clinic, RotaChange, Shift } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import { dutyAt } from '../oncall/rota.ts'
import { blockEnd, instantsOf, wallTimeAt, weekdayOf, weekdays } from '../oncall/wall-time.ts'
import { days, type Instant, instant } from '../time/instant.ts'
import { figureOf, type Measured } from './figure.ts'
import { interleaved } from './rounds.ts'
import { seeded } from './seeded.ts'
import type { AreaContext } from './subject.ts'

/** Entries of the rota that is asked. */
const ENTRIES = 5_000
const ROLES = ['first', 'second', 'third'] as const
const YEAR = days(365)
const LOOKS = 20_000
/** The straight way is slow: it is asked so many of the same instants. */
const NAIVE_LOOKS = 200

/**
 * Who is on call at an instant of a year with 5,000 entries, and the cover of that year with three ladders: each beside the
 * straight way, which goes through every entry, and has to give the same answers.
 */
export async function rotaArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const start = subject.clock.now()
  const chance = seeded(5_545)
  const instants = Array.from({ length: LOOKS }, () => instant(start + chance.int(YEAR)))
  let differ = 0
  const looks = await interleaved(
    {
      ours: () => {
        const clinic = crowded(subject.line.clinic, start)
        const began = performance.now()
        for (const at of instants) dutyAt(clinic, 'first', at)
        return ((performance.now() - began) * 1_000) / LOOKS
      },
      straight: () => {
        const clinic = crowded(subject.line.clinic, start)
        const some = instants.slice(0, NAIVE_LOOKS)
        const began = performance.now()
        const found = some.map(at => straightOnCall(clinic, 'first', at))
        const took = ((performance.now() - began) * 1_000) / NAIVE_LOOKS
        differ += some.filter((at, index) => dutyAt(clinic, 'first', at)?.who !== found[index]).length
        return took
      },
    },
    { what: 'rota: who is on call', progress },
  )
  const covers = await interleaved(
    {
      ours: () => {
        const ladders = threeLadders(crowded(subject.line.clinic, start))
        const began = performance.now()
        for (const clinic of ladders) coverageOf(clinic, start, instant(start + YEAR))
        return performance.now() - began
      },
      straight: () => {
        const clinic = crowded(subject.line.clinic, start)
        const began = performance.now()
        const found = straightGaps(clinic, 'second', start, instant(start + YEAR))
        const took = performance.now() - began
        const ladder = [{ kind: 'role', role: 'second', when: { kind: 'always' } }] as const
        const ours = coverageOf({ ...clinic, ladder }, start, instant(start + YEAR)).empty
        if (JSON.stringify(ours) !== JSON.stringify(found)) differ += 1
        return took * ROLES.length
      },
    },
    { what: 'rota: a year of cover', progress },
  )
  const against = `the straight way in the same run: every one of ${ENTRIES} entries looked at`
  return [
    figureOf(
      { area: 'rota', name: 'who is on call at an instant', unit: 'microseconds', bound: 'most', target: 50, against },
      looks.ours,
    ),
    figureOf(
      {
        ...{
          area: 'rota',
          name: 'faster than the straight way, at an instant',
          unit: 'times',
          bound: 'least',
          target: 10,
        },
        against,
      },
      looks.straight.map((took, round) => took / (looks.ours[round] ?? Number.NaN)),
    ),
    figureOf(
      {
        ...{
          area: 'rota',
          name: 'a year of cover with three ladders',
          unit: 'milliseconds',
          bound: 'most',
          target: 50,
        },
        against,
      },
      covers.ours,
    ),
    figureOf(
      {
        area: 'rota',
        name: 'answers that differ from the straight way',
        unit: 'answers',
        bound: 'most',
        target: 0,
        against,
      },
      [differ],
    ),
  ]
}

/** The clinic with a rota of three roles: the week, and a year of dated cover, swaps and leave between the same few people. */
export function crowded(clinic: Clinic, start: Instant): Clinic {
  const chance = seeded(1_987)
  const people = clinic.people.filter(one => one.clinician).map(({ id }) => id)
  const who = () => people[chance.int(people.length)] ?? ''
  const today = wallTimeAt(clinic.zone, start).day
  const weekly = (): Shift[] =>
    weekdays.flatMap(on => [
      { on, from: 480, to: 1080, who: who() },
      { on, from: 1080, to: 480, who: who(), every: 1 + chance.int(2), since: today - 7 },
    ])
  const roles = Object.fromEntries(ROLES.map(role => [role, weekly()]))
  const leave = Array.from({ length: 100 }, () => {
    const day = today + chance.int(360)
    return { who: who(), from: { day, minute: 0 }, until: { day: day + 1 + chance.int(5), minute: 0 } }
  })
  const count = ENTRIES - Object.values(roles).flat().length - leave.length
  const changes = Array.from({ length: count }, (): RotaChange => {
    const day = today + chance.int(365)
    const minute = 30 * chance.int(48)
    const length = 60 + 30 * chance.int(20)
    const until = { day: day + Math.floor((minute + length) / 1440), minute: (minute + length) % 1440 }
    return { role: ROLES[chance.int(ROLES.length)] ?? 'first', from: { day, minute }, until, who: who() }
  })
  return { ...clinic, rota: { roles, changes, leave } }
}

/** The same rota under three ladders: each begins with another role. */
function threeLadders(clinic: Clinic): readonly Clinic[] {
  const always = { kind: 'always' } as const
  return ROLES.map((_role, first) => ({
    ...clinic,
    ladder: ROLES.map((_other, place) => ({
      kind: 'role' as const,
      role: ROLES[(first + place) % ROLES.length] ?? 'first',
      when: place === 0 ? always : ({ kind: 'closed' } as const),
    })),
  }))
}

/**
 * Who is on call, found by going through the whole rota: the reference. It knows weekly shifts, dated changes and leave, which
 * is what the measured rota holds.
 */
export function straightOnCall({ rota, zone }: Clinic, role: string, at: Instant): string | undefined {
  const isAway = (who: string) =>
    (rota.leave ?? []).some(
      one => one.who === who && instantsOf(zone, one.from).earlier <= at && at < instantsOf(zone, one.until).later,
    )
  const dated = rota.changes
    .filter(one => one.role === role)
    .filter(one => instantsOf(zone, one.from).earlier <= at && at < instantsOf(zone, one.until).later)
  if (dated.length > 0) return dated.findLast(({ who }) => !isAway(who))?.who
  const today = wallTimeAt(zone, at).day
  const week = (day: number) => Math.floor((day + 3) / 7)
  const weekly = [today - 2, today - 1, today, today + 1].flatMap(day =>
    (rota.roles[role] ?? [])
      .filter(({ on }) => on === weekdayOf(day))
      .filter(({ since = day, every = 1 }) => day >= since && (week(day) - week(since)) % every === 0)
      .map(({ from, to, who }) => ({
        who,
        from: instantsOf(zone, { day, minute: from }).earlier,
        until: instantsOf(zone, blockEnd(day, from, to)).later,
      }))
      .filter(({ from, until }) => from <= at && at < until),
  )
  return weekly.toSorted((a, b) => a.from - b.from).findLast(({ who }) => !isAway(who))?.who
}

/** Stretches without anybody, found by asking at every edge of every entry. */
export function straightGaps(
  clinic: Clinic,
  role: string,
  from: Instant,
  until: Instant,
): readonly { readonly from: Instant; readonly until: Instant }[] {
  const { rota, zone } = clinic
  const edges: Instant[] = [from]
  for (const one of [...rota.changes, ...(rota.leave ?? [])])
    edges.push(instantsOf(zone, one.from).earlier, instantsOf(zone, one.until).later)
  const firstDay = wallTimeAt(zone, from).day - 2
  const lastDay = wallTimeAt(zone, until).day + 1
  for (let day = firstDay; day <= lastDay; day++) {
    for (const shift of rota.roles[role] ?? []) {
      if (shift.on !== weekdayOf(day)) continue
      edges.push(
        instantsOf(zone, { day, minute: shift.from }).earlier,
        instantsOf(zone, blockEnd(day, shift.from, shift.to)).later,
      )
    }
  }
  const sorted = [...new Set(edges.filter(edge => edge >= from && edge < until))].sort((a, b) => a - b)
  const found: { from: Instant; until: Instant }[] = []
  sorted.forEach((edge, index) => {
    if (straightOnCall(clinic, role, edge) !== undefined) return
    const end = sorted[index + 1] ?? until
    const last = found.at(-1)
    if (last?.until === edge) last.until = end
    else found.push({ from: edge, until: end })
  })
  return found
}
