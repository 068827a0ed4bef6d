import type { CalendarCopy } from '../config/calendar-copy.ts'
import { after, days, type Instant } from '../time/instant.ts'

/** Why a calendar that was read anew is not put in force by itself: somebody has to look at it. */
export type Suspicion =
  | { readonly kind: 'zones-changed'; readonly before: readonly string[]; readonly now: readonly string[] }
  | { readonly kind: 'shrunk'; readonly hoursBefore: number; readonly hoursNow: number }
  | { readonly kind: 'moved'; readonly kept: number; readonly of: number }

/** How far ahead two copies are compared. */
const AHEAD = days(28)
/** Less than this share of the hours covered before is suspicious: our own caution, no source. */
const HOURS_KEPT = 0.7
/** Fewer than this share of the coming shifts left as they were is suspicious: the same. */
const SHIFTS_KEPT = 0.5

/** What is suspicious about `next`, seen from what is in force; nothing where it may be taken by itself. */
export function suspicionOf(before: CalendarCopy, next: CalendarCopy, at: Instant): Suspicion | undefined {
  const until = after(at, AHEAD)
  const coming = before.shifts.filter(one => one.from >= at && one.from < until && one.until <= before.knownUntil)
  const [hoursBefore, hoursNow] = [hoursIn(before, at, until), hoursIn(next, at, until)]
  if (hoursNow < hoursBefore * HOURS_KEPT) return { kind: 'shrunk', hoursBefore, hoursNow }
  const zonesNow = next.zones.filter(zone => zone !== 'UTC')
  const zonesBefore = before.zones.filter(zone => zone !== 'UTC')
  if (zonesBefore.length > 0 && zonesNow.join() !== zonesBefore.join())
    return { kind: 'zones-changed', before: before.zones, now: next.zones }
  const stands = new Set(next.shifts.map(one => `${one.from} ${one.until}`))
  const kept = coming.filter(one => stands.has(`${one.from} ${one.until}`)).length
  return kept < coming.length * SHIFTS_KEPT ? { kind: 'moved', kept, of: coming.length } : undefined
}

/** Hours of the stretch in which somebody is on call. */
function hoursIn({ shifts }: CalendarCopy, from: Instant, until: Instant): number {
  let total = 0
  let covered: number = from
  for (const one of shifts.toSorted((a, b) => a.from - b.from)) {
    const start = Math.max(one.from, covered)
    const end = Math.min(one.until, until)
    if (end <= start) continue
    total += end - start
    covered = end
  }
  return Math.round(total / 3_600_000)
}

/** The suspicion in words, with what to do. */
export function suspicionText(suspicion: Suspicion): string {
  const what = (() => {
    switch (suspicion.kind) {
      case 'zones-changed':
        return `its times are now written in ${suspicion.now.join(', ') || 'no zone'}, before in ${suspicion.before.join(', ')}`
      case 'shrunk':
        return `it covers ${suspicion.hoursNow} hours of the next 28 days, before ${suspicion.hoursBefore}`
      case 'moved':
        return `only ${suspicion.kept} of the ${suspicion.of} shifts of the next 28 days stand where they stood`
    }
  })()
  return `${what}. What was in force stays in force; look at the calendar, and take it with "smallhours rota import" if it is right`
}
