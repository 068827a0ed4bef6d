/**
 * One family's night, played with the step that serves: what each side saw and when. The clock stands still until it is
 * moved, and every stored alarm on the way fires in its order. A night is never changed: what happens gives the next one.
 */
import { NEVER } from '../../case/alarm.ts'
import type { Answer } from '../../case/answer.ts'
import type { Effect } from '../../case/effect.ts'
import type { CaseEvent } from '../../case/event.ts'
import type { Line } from '../../case/line.ts'
import type { Part } from '../../case/message.ts'
import { renderPage, renderReply } from '../../case/render.ts'
import { type CaseState, caseCode, openCase } from '../../case/state.ts'
import { step } from '../../case/step.ts'
import { reachableOf } from '../../oncall/clinic.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { localInstants } from '../../time/local-instants.ts'
import { weekdayAt } from '../../time/local-time.ts'

/** One thing that a family or a clinician saw, or that passed between. */
export type NightEntry =
  | { readonly kind: 'family'; readonly at: Instant; readonly how: 'tap' | 'write'; readonly text: string }
  | { readonly kind: 'bot'; readonly at: Instant; readonly parts: readonly Part[] }
  | {
      readonly kind: 'page'
      readonly at: Instant
      readonly to: string
      readonly why: 'page' | 'repeat' | 'update' | 'taken'
      readonly text: string
    }
  /** Nobody did anything from `from` to `at`. */
  | { readonly kind: 'quiet'; readonly from: Instant; readonly at: Instant }

export interface Night {
  readonly line: Line
  readonly state: CaseState
  readonly at: Instant
  readonly entries: readonly NightEntry[]
  /** All effects so far, in order. */
  readonly effects: readonly Effect[]
}

/** Ten past two at night of an invented Sunday, in a zone. */
export function nightInstant(zone: string): Instant {
  const [at] = localInstants({ year: 2026, month: 3, day: 1, hour: 2, minute: 10 }, zone)
  if (at === undefined) throw new Error(`no such time in zone "${zone}": an IANA zone was expected`)
  return at
}

/** A case before its first message. */
export function blankNight(line: Line, concern: string, at: Instant): Night {
  const state = openCase(line, {
    caseId: 'told',
    chat: { channel: 'terminal', chat: 'here' },
    at,
    code: caseCode(weekdayAt(at, line.clinic.zone), 3719),
    concern,
  })
  return { line, state, at, entries: [], effects: [] }
}

/** The first message, with what it says beyond the concern. */
export function beginNight(blank: Night, knows: Readonly<Record<string, Answer>>, said: string): Night {
  const { concern } = blank.state
  return happens(blank, { kind: 'caseOpened', concern, said, facts: knows }, { how: 'write', text: said })
}

/** Something happens now. `said` is what the family did, where it was the family. */
export function happens(
  night: Night,
  event: CaseEvent,
  said?: { readonly how: 'tap' | 'write'; readonly text: string },
): Night {
  const { line, at } = night
  const stepped = step(line, night.state, event, at)
  const entries = [...night.entries]
  if (said !== undefined) entries.push({ kind: 'family', at, ...said })
  const paged: string[] = []
  for (const effect of stepped.effects) {
    if (effect.kind === 'reply')
      entries.push({ kind: 'bot', at, parts: renderReply(line, stepped.state, effect, at, { repeated: false }) })
    if (effect.kind !== 'page') continue
    const text = renderPage(line, stepped.state, effect, at).join(' ')
    entries.push({
      kind: 'page',
      at,
      to: reachableOf(line.clinic, effect.to)?.name ?? effect.to,
      why: effect.why,
      text,
    })
    if (effect.why !== 'taken') paged.push(effect.to)
  }
  const next: Night = { line, at, state: stepped.state, entries, effects: [...night.effects, ...stepped.effects] }
  return paged.reduce(
    (each, to) => happens(each, { kind: 'pageSettled', pageId: `told.${each.state.seq}`, to, outcome: 'accepted' }),
    next,
  )
}

/** The stored alarm that comes next. */
export function nextAlarm({ state }: Night): { readonly name: string; readonly due: Instant } | undefined {
  const set = Object.entries(state.alarms).filter(([, { due }]) => due !== NEVER)
  const [first] = set.toSorted(([nameA, a], [nameB, b]) => a.due - b.due || (nameA < nameB ? -1 : 1))
  return first === undefined ? undefined : { name: first[0], due: first[1].due }
}

/** Nobody does anything until an instant (inclusive): alarms fire as they come due. */
export function waits(night: Night, until: Instant): Night {
  return waitsFor(night, until, () => false)
}

/** The same, but no further than the first moment at which `isEnough`. */
export function waitsFor(night: Night, until: Instant, isEnough: (night: Night) => boolean): Night {
  let now = night
  for (let count = 0; count < ALARMS_MOST && !isEnough(now); count++) {
    const alarm = nextAlarm(now)
    if (alarm === undefined || alarm.due > until || now.state.closed) return quiet(now, until)
    const at = instant(Math.max(alarm.due, now.at))
    now = happens(quiet(now, at), { kind: 'alarmDue', name: alarm.name, due: alarm.due })
  }
  return now
}

/** Alarms of one wait: more means that they set each other without end. */
const ALARMS_MOST = 400

function quiet(night: Night, until: Instant): Night {
  if (until <= night.at) return night
  const last = night.entries.at(-1)
  const from = last?.kind === 'quiet' ? last.from : night.at
  const before = last?.kind === 'quiet' ? night.entries.slice(0, -1) : night.entries
  return { ...night, at: until, entries: [...before, { kind: 'quiet', from, at: until }] }
}
