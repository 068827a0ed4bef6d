/**
 * Whether whoever has the telephone has it: asked at the start of each shift, and tried before the clinic closes for the night.
 * Both are test call-outs that their owner answers, so that each answer proves the telephone too.
 */
import { createHash } from 'node:crypto'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { type Clinic, peopleThere, reachableOf } from '../oncall/clinic.ts'
import { rungsAt } from '../oncall/ladder.ts'
import { isOpen, nextOpening, openingsBetween } from '../oncall/opening.ts'
import { rolesOf } from '../oncall/rota.ts'
import { type ShiftNow, shiftsNow } from '../oncall/shift-now.ts'
import { stretches } from '../oncall/timeline.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Runtime } from '../runtime/runtime.ts'
import { after, before, hours, type Instant, minutes } from '../time/instant.ts'
import type { DeskFile } from './desk-file.ts'
import { momentText } from './now-view.ts'
import { wayText } from './page-ways.ts'
import type { TestCallout, TestCallouts } from './test-callouts.ts'

/** Without an answer for so long the next person and the clerk are told. */
export const UNSAID_MS = minutes(15)
/** Said so long before its beginning, it is said for a shift. Our own figure, no source. */
const SAID_BEFORE_MS = hours(1)
/** The way of paging is tried so long before the clinic closes: somebody is still there to mend it. Our own figure, no source. */
export const TRIED_BEFORE_MS = hours(1)
/** A clinic that opens again so soon has closed for lunch and not for the night. */
const NIGHT_LEAST_MS = hours(4)
const LOOK_EVERY_MS = minutes(1)
/** Shifts remembered as told of, at most. */
const TOLD_MOST = 40

export interface PhoneWatchOptions {
  readonly clock: Clock
  readonly now: () => Instant
  readonly line: () => Line
  readonly desk: DeskFile
  readonly callouts: TestCallouts
  readonly tellPeople: Runtime['tellPeople']
  readonly wording: Wording
  /** The page on which somebody answers a test call-out. */
  readonly calloutLink: (id: string, who: string) => string
  /** Where whoever is told can put somebody else in. */
  readonly onCallLink: () => string
  readonly onFault: (error: unknown) => void
}

/** What is known of whether somebody has the telephone. */
export type PhoneSaid =
  | { readonly kind: 'said'; readonly at: Instant }
  /** Asked, and not answered yet. */
  | { readonly kind: 'asked'; readonly at: Instant }

export interface PhoneWatch {
  start(): void
  look(): Promise<void>
  stop(): void
  /** Somebody says on a page that they have the telephone. False where it is not their turn now. */
  say(who: string): boolean
  /** Of somebody whose turn it is; undefined where they were not asked and have not said. */
  saidOf(who: string): PhoneSaid | undefined
  /** What people at the board must know, each as a sentence. */
  doubts(): readonly string[]
}

export function phoneWatch(options: PhoneWatchOptions): PhoneWatch {
  const { clock, now, line, desk, callouts, wording } = options
  let cancel = () => {}
  let stopped = false

  const phones = () => desk.read().phones ?? { said: {}, told: [] }
  const nameOf = (id: string): string => reachableOf(line().clinic, id)?.name ?? id
  const until = (at: Instant): string => momentText(line(), at, now())

  function saidSince({ who, from }: ShiftNow): Instant | undefined {
    const answers = [callouts.confirmedAt(who), phones().said[who]]
    const counted = answers.flatMap(at => (at !== undefined && at >= before(from, SAID_BEFORE_MS) ? [at] : []))
    return counted.length === 0 ? undefined : (Math.max(...counted) as Instant)
  }

  /** Sends a test call-out by every way at once; what became of each is kept. */
  async function send(id: string, who: string, text: string): Promise<TestCallout> {
    const callout = { id, who, at: now(), ways: [] }
    callouts.keep(callout)
    const link = options.calloutLink(id, who)
    const told = await options.tellPeople({
      to: [who],
      pieces: [text],
      link: () => link,
      key: `test.${id}`,
      urgency: 'speak',
    })
    const kept = { ...(callouts.of(id) ?? callout), ways: told.map(({ pager, outcome }) => ({ pager, outcome })) }
    callouts.keep(kept)
    return kept
  }

  async function lookAtShift(shift: ShiftNow): Promise<void> {
    const { who, role, from } = shift
    const id = idOf('shift', who, from)
    const asked = callouts.of(id)
    if (saidSince(shift) !== undefined) return
    // Whoever has had it for hours when the bot starts is not woken to say so.
    if (asked === undefined && now() >= after(from, UNSAID_MS)) return
    if (asked === undefined) {
      await send(id, who, wording('phone-shift', { role, until: until(shift.until) }))
      return
    }
    if (now() < after(asked.at, UNSAID_MS) || phones().told.includes(id)) return
    const { clinic } = line()
    const next = rungsAt(clinic, now()).find(rung => rung.id !== who && rung.kind === 'person')
    const to = [...new Set([...(next === undefined ? [] : [next.id]), ...clerksIn(clinic)])].filter(one => one !== who)
    desk.change({ phones: { ...phones(), told: [...phones().told, id].slice(-TOLD_MOST) } })
    await options.tellPeople({
      ...{ to, key: `phone.${id}`, urgency: 'set-out', link: () => options.onCallLink() },
      pieces: [wording('phone-unsaid', { name: nameOf(who), role, until: until(shift.until) })],
    })
  }

  async function lookAtEvening(): Promise<void> {
    const { clinic } = line()
    const closes = closingForTheNight(clinic, now())
    if (closes === undefined || now() < before(closes, TRIED_BEFORE_MS) || phones().tried === closes) return
    desk.change({ phones: { ...phones(), tried: closes } })
    const opens = nextOpening(clinic, closes) ?? after(closes, hours(24))
    const tonight = peopleBetween(clinic, closes, opens)
    const sent = await Promise.all(
      tonight.map(who => send(idOf('evening', who, closes), who, wording('phone-evening'))),
    )
    const failed = sent.flatMap(one => failedText(one))
    if (failed.length === 0) return
    await options.tellPeople({
      ...{ to: clerksIn(clinic), key: `evening.${closes}`, urgency: 'set-out', link: () => options.onCallLink() },
      pieces: [wording('phone-evening-failed', { label: failed.join('; ') })],
    })
  }

  /** "Amara Osei: e-mail, text message", where something was not taken. */
  function failedText({ who, ways, lost = [] }: TestCallout): readonly string[] {
    const failed = ways
      .filter(({ pager, outcome }) => outcome !== 'accepted' || lost.includes(pager))
      .map(({ pager }) => wayText(pager, wording))
    return failed.length === 0 ? [] : [`${nameOf(who)}: ${[...new Set(failed)].join(', ')}`]
  }

  async function look(): Promise<void> {
    for (const shift of shiftsNow(line().clinic, now())) await lookAtShift(shift)
    await lookAtEvening()
  }

  function again(): void {
    cancel = clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, () => {
      void look()
        .catch(options.onFault)
        .finally(() => {
          if (!stopped) again()
        })
    })
  }

  const shiftOf = (who: string) => shiftsNow(line().clinic, now()).find(one => one.who === who)

  return {
    start: again,
    look,
    stop() {
      stopped = true
      cancel()
    },
    say(who) {
      if (shiftOf(who) === undefined) return false
      desk.change({ phones: { ...phones(), said: { ...phones().said, [who]: now() } } })
      return true
    },
    saidOf(who) {
      const shift = shiftOf(who)
      if (shift === undefined) return undefined
      const at = saidSince(shift)
      if (at !== undefined) return { kind: 'said', at }
      const asked = callouts.of(idOf('shift', who, shift.from))
      return asked === undefined ? undefined : { kind: 'asked', at: asked.at }
    },
    doubts() {
      const { told, tried } = phones()
      const unsaid = shiftsNow(line().clinic, now()).filter(
        shift => told.includes(idOf('shift', shift.who, shift.from)) && saidSince(shift) === undefined,
      )
      const evening = tried === undefined || now() > after(tried, hours(18)) ? [] : peopleTried(tried)
      return [
        ...unsaid.map(({ who, role, until: ends }) =>
          wording('phone-unsaid', { name: nameOf(who), role, until: until(ends) }),
        ),
        ...(evening.length === 0 ? [] : [wording('phone-evening-failed', { label: evening.join('; ') })]),
      ]
    },
  }

  /** Whom the evening's test did not reach by some way, and who has not answered any since. */
  function peopleTried(tried: Instant): readonly string[] {
    return peopleThere(line().clinic).flatMap(({ id }) => {
      const callout = callouts.of(idOf('evening', id, tried))
      return callout === undefined || callout.answeredAt !== undefined ? [] : failedText(callout)
    })
  }
}

const idOf = (what: string, who: string, at: Instant): string =>
  createHash('sha256').update(`${what} ${who} ${at}`).digest('hex').slice(0, 32)

/** The end of the opening that holds now, where the clinic then stays closed for the night. */
function closingForTheNight(clinic: Clinic, at: Instant): Instant | undefined {
  if (!isOpen(clinic, at)) return undefined
  const closes = openingsBetween(clinic, at, at).find(one => one.opensAt <= at && at < one.closesAt)?.closesAt
  if (closes === undefined) return undefined
  const next = nextOpening(clinic, closes)
  return next === undefined || next >= after(closes, NIGHT_LEAST_MS) ? closes : undefined
}

/** Everybody whose turn it is in some role between two instants. */
function peopleBetween(clinic: Clinic, from: Instant, until: Instant): readonly string[] {
  const duties = rolesOf(clinic).flatMap(role => stretches(clinic, role, from, until).flatMap(({ duty }) => duty ?? []))
  return [...new Set(duties.map(({ who }) => who))].filter(who => reachableOf(clinic, who)?.kind === 'person')
}

/** Ids of whoever keeps the rota: administrators; else leads; else everybody who can be reached. */
function clerksIn(clinic: Clinic): readonly string[] {
  const there = peopleThere(clinic).filter(({ pageAt }) => pageAt.length > 0)
  for (const role of ['administrator', 'lead'] as const) {
    const found = there.filter(({ roles = [] }) => roles.includes(role))
    if (found.length > 0) return found.map(({ id }) => id)
  }
  return there.map(({ id }) => id)
}
