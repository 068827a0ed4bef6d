/** An invented year of a clinic: who writes when and about what, how the people on call answer, and one summer in which they do worse. */
import { type Line, languagesOf } from '../case/line.ts'
import { type Instant, instant } from '../time/instant.ts'
import { dayStart } from '../time/local-instants.ts'
import type { CaseRecord } from './case-record.ts'
import { type Chance, drawnCase, type Invented } from './drawn-case.ts'

export interface YearOptions {
  readonly seed: string
  readonly year: number
  readonly cases: number
  /** SHA-256 of a text as hexadecimal digits: each case's chance comes from the seed and its number, whatever was drawn before. */
  readonly hash: (text: string) => string
}

/** Days in 1000 at which most write: evenings and the early night, from midnight on, by hour. */
const BY_HOUR = [38, 34, 30, 26, 22, 22, 28, 34, 30, 26, 26, 28, 32, 32, 34, 38, 44, 56, 66, 76, 84, 80, 66, 48]

/** What they write about, of a hundred; the rest is spread over all. */
const BY_CONCERN: Readonly<Record<string, number>> = {
  'tube-out': 34,
  clogged: 14,
  leaking: 13,
  'feed-trouble': 9,
  skin: 8,
  bleeding: 5,
  balloon: 5,
  'tube-moved': 4,
  medicine: 3,
  broken: 3,
  someone: 2,
}

/** On the 320th day the line is down from 1 to 2 in the night, by the clock of the zone's winter. */
const DOWN_DAY = 319
const DOWN_HOURS = [1, 2] as const

/** From the 210th to the 245th day of the year half as many pages are answered, later. It is meant to be found in the charts. */
const WORSE_DAYS = [210, 245] as const

/** The cases of the year in the order in which they begin. */
export function* drawnYear(line: Line, options: YearOptions): Generator<CaseRecord> {
  const begun = beginnings(line, options)
  for (const [index, openedAt] of begun.entries()) {
    const chance = chanceOf(options.hash(`${options.seed}:case:${index}`))
    yield drawnCase(line, invented(line, options, index, openedAt, chance), chance)
  }
}

function beginnings(line: Line, { seed, year, cases, hash }: YearOptions): readonly Instant[] {
  const chance = chanceOf(hash(`${seed}:beginnings`))
  const zone = line.clinic.zone
  const start = dayStart({ year, month: 1, day: 1 }, zone)
  const days = Math.round((dayStart({ year: year + 1, month: 1, day: 1 }, zone) - start) / 86_400_000)
  return Array.from({ length: cases }, () => {
    const day = Math.floor(chance() * days)
    const ms = (drawnOf(BY_HOUR, chance) + chance()) * 3_600_000
    return instant(start + day * 86_400_000 + ms)
  }).sort((a, b) => a - b)
}

function invented(
  line: Line,
  { seed, year, cases, hash }: YearOptions,
  index: number,
  openedAt: Instant,
  chance: Chance,
): Invented {
  const concerns = [...line.flows.flows.keys()]
  const languages = languagesOf(line)
  const day = Math.floor((openedAt - dayStart({ year, month: 1, day: 1 }, line.clinic.zone)) / 86_400_000)
  const isWorse = day >= WORSE_DAYS[0] && day < WORSE_DAYS[1]
  const downAt = dayStart({ year, month: 1, day: 1 }, line.clinic.zone) + DOWN_DAY * 86_400_000
  const [from, until] = DOWN_HOURS.map(hour => instant(downAt + hour * 3_600_000))
  const down =
    from !== undefined && until !== undefined && openedAt < from && openedAt > from - 86_400_000
      ? { from, until }
      : undefined
  // Some families write often: the square leans towards the first.
  const family = Math.floor(chance() ** 2 * Math.max(1, cases / 4))
  return {
    // In the order in which they begin, as a transcript wants them.
    caseId: `${index.toString(16).padStart(8, '0')}${hash(`${seed}:id:${index}`).slice(0, 24)}`,
    family: hash(`${seed}:family:${family}`).slice(0, 16),
    channel: chance() < 0.8 ? 'web' : 'sms',
    language: languages[chance() < 0.82 ? 0 : Math.floor(chance() * languages.length)] ?? line.language,
    concern:
      concerns[
        drawnOf(
          concerns.map(each => BY_CONCERN[each] ?? 1),
          chance,
        )
      ] ?? 'someone',
    openedAt,
    ...(isWorse ? { answers: 0.42, answersWithin: 4.5 } : { answers: 0.82, answersWithin: 2.2 }),
    undelivered: 0.015,
    ...(down === undefined ? {} : { down }),
  }
}

/** Place of one of several weights, each as likely as its weight. */
function drawnOf(weights: readonly number[], chance: Chance): number {
  let left = chance() * weights.reduce((sum, weight) => sum + weight, 0)
  for (const [place, weight] of weights.entries()) {
    left -= weight
    if (left < 0) return place
  }
  return 0
}

/** Chance that repeats: mulberry32 (T. Ettinger 2017) from the first digits of a hash. No secret hangs on it. */
export function chanceOf(hash: string): Chance {
  let state = Number.parseInt(hash.slice(0, 8), 16) | 0
  return () => {
    state = (state + 0x6d2b79f5) | 0
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state)
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4_294_967_296
  }
}
