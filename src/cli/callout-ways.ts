import { isForFiction } from '../config/fiction.ts'
import { numberRead } from '../config/telephone.ts'
import type { Clinic, Desk, Person } from '../oncall/clinic.ts'
import { days, elapsed, type Instant } from '../time/instant.ts'
import { isoText, momentText } from './rota-words.ts'
import type { TestCallouts } from './test-callouts.ts'

/** A way that nobody has answered for so long is asked for again: our own caution, no source. */
const STALE_AFTER = days(30)

/** One way somebody is reached. */
export interface WayShown {
  readonly pager: string
  readonly address: string
  /** When a test call-out by this way was last answered. */
  readonly confirmedAt: Instant | undefined
  readonly isStale: boolean
}

export interface PersonShown {
  readonly id: string
  readonly name: string
  readonly ways: readonly WayShown[]
  /** The private number as its country writes it abroad. */
  readonly number?: ReturnType<typeof numberRead> & { readonly isForFiction: boolean }
}

/** Everybody who may be paged, way by way, with when each was last shown to work. Those who have left are left out. */
export function waysOf(clinic: Clinic, callouts: TestCallouts, now: Instant): readonly PersonShown[] {
  const there: readonly (Person | Desk)[] = [...clinic.people.filter(({ left }) => left !== true), ...clinic.desks]
  return there.map(one => ({
    id: one.id,
    name: one.name,
    ways: one.pageAt.map(({ pager, address }) => {
      const confirmedAt = callouts.wayConfirmedAt(one.id, pager)
      const isStale = confirmedAt === undefined || elapsed(confirmedAt, now) > STALE_AFTER
      // The board is a screen: there is nobody to prove it.
      return { pager, address, confirmedAt, isStale: pager !== 'board' && isStale }
    }),
    ...(one.privateNumber === undefined
      ? {}
      : { number: { ...numberRead(one.privateNumber), isForFiction: isForFiction(one.privateNumber) } }),
  }))
}

export function wayDocument(people: readonly PersonShown[]) {
  return people.map(({ ways, ...one }) => ({
    ...one,
    ways: ways.map(({ confirmedAt, ...way }) => ({
      ...way,
      confirmedAt: confirmedAt === undefined ? null : isoText(confirmedAt),
    })),
  }))
}

export function wayLines(clinic: Clinic, people: readonly PersonShown[], now: Instant): readonly string[] {
  return people.flatMap(({ id, name, ways, number }) => [
    `${name} (${id})`,
    ...ways.map(
      way => `  ${way.pager}${way.address === '' ? '' : ` ${way.address}`}: ${confirmedText(clinic, way, now)}`,
    ),
    ...(number === undefined
      ? []
      : [
          `  telephone ${number.shown} (${number.country ?? 'no country known'}${number.isValid ? '' : ', in no range we know: ring it once'}${number.isForFiction ? ', kept for fiction' : ''})`,
        ]),
  ])
}

function confirmedText(clinic: Clinic, { pager, confirmedAt, isStale }: WayShown, now: Instant): string {
  if (pager === 'board') return 'a screen; nothing to prove'
  if (confirmedAt === undefined) return 'NOT PROVED: send a test call-out'
  const on = `confirmed on ${momentText(clinic, confirmedAt, now)}`
  return isStale ? `${on}, MORE THAN 30 DAYS AGO: send a test call-out` : on
}
