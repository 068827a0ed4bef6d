/** What a case comes to, for comparing one run of it with another. */
import type { Effect } from '../case/effect.ts'
import type { Disposition } from '../case/event.ts'
import type { Line } from '../case/line.ts'
import type { CaseState } from '../case/state.ts'
import { DISPOSITIONS } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'

export interface PageSent {
  readonly at: Instant
  readonly to: string
  readonly why: string
  readonly urgency: string
}

export interface Outcome {
  /** Where it stands at the end; undefined where nothing was decided. */
  readonly disposition: Disposition | undefined
  /** The most urgent it ever stood at. */
  readonly worst: Disposition | undefined
  /** Advice that asks for an act, by id, in the order it was first said. */
  readonly advice: readonly string[]
  readonly pages: readonly PageSent[]
  /** Facts in the order they were first asked for. */
  readonly asked: readonly string[]
}

export interface Gathering {
  add(effects: readonly Effect[], state: CaseState | undefined, line: Line, at: Instant): void
  readonly outcome: Outcome
  copy(): Gathering
}

const rankOf = (disposition: Disposition | undefined): number =>
  disposition === undefined ? DISPOSITIONS.length : DISPOSITIONS.indexOf(disposition)

/** The more urgent of two; undefined is less than all. */
const worseOf = (a: Disposition | undefined, b: Disposition | undefined): Disposition | undefined =>
  rankOf(a) <= rankOf(b) ? a : b

export function gathering(from?: Outcome): Gathering {
  let disposition = from?.disposition
  let worst = from?.worst
  const advice = new Set(from?.advice)
  const pages = [...(from?.pages ?? [])]
  const asked = new Set(from?.asked)
  const gathered: Gathering = {
    add(effects, state, line, at) {
      disposition = state?.disposition?.id ?? (state === undefined ? disposition : undefined)
      worst = worseOf(worst, disposition)
      for (const effect of effects) {
        if (effect.kind === 'page') pages.push({ at, to: effect.to, why: effect.why, urgency: effect.urgency })
        if (effect.kind !== 'reply') continue
        const flow = state === undefined ? undefined : line.flows.flows.get(effect.concern ?? state.concern)
        for (const part of effect.parts) {
          if (part.kind === 'ask') asked.add(part.fact)
          if (part.kind === 'say' && (flow?.advice.get(part.id)?.tags.length ?? 0) > 0) advice.add(part.id)
        }
      }
    },
    get outcome() {
      return { disposition, worst, advice: [...advice], pages: [...pages], asked: [...asked] }
    },
    copy: () => gathering(gathered.outcome),
  }
  return gathered
}

/** What is not the same, and for the child: lowered where any run is less careful than before. */
export interface Compared {
  readonly kinds: readonly ('disposition' | 'advice' | 'pages')[]
  readonly direction: 'lowered' | 'raised' | 'changed' | 'same'
}

/** A page that comes this much later is later. */
const LATER_MS = 60_000

/** Compares what a case came to with everything that it may come to; whatever is less careful counts. */
export function compared(was: Outcome, may: readonly Outcome[]): Compared {
  const kinds = new Set<Compared['kinds'][number]>()
  let lowered = false
  let raised = false
  for (const now of may) {
    if (now.disposition !== was.disposition || now.worst !== was.worst) kinds.add('disposition')
    if (rankOf(now.worst) > rankOf(was.worst) || rankOf(now.disposition) > rankOf(was.disposition)) lowered = true
    if (rankOf(now.worst) < rankOf(was.worst) || rankOf(now.disposition) < rankOf(was.disposition)) raised = true
    if (now.advice.toSorted().join() !== was.advice.toSorted().join()) kinds.add('advice')
    const pages = pagesCompared(was.pages, now.pages)
    if (pages !== 'same') kinds.add('pages')
    if (pages === 'fewer') lowered = true
    if (pages === 'more') raised = true
  }
  const direction = lowered ? 'lowered' : raised ? 'raised' : kinds.size > 0 ? 'changed' : 'same'
  return { kinds: [...kinds], direction }
}

/** Fewer, later or less urgent pages are `fewer`; other people or other repeats alone are `other`. */
function pagesCompared(was: readonly PageSent[], now: readonly PageSent[]): 'same' | 'fewer' | 'more' | 'other' {
  const [first, firstNow] = [was[0], now[0]]
  if (first === undefined || firstNow === undefined)
    return first === firstNow ? 'same' : first === undefined ? 'more' : 'fewer'
  const [then, at] = [firstPaged(was), firstPaged(now)]
  const isLater = ([who, when]: readonly [string, Instant], other: ReadonlyMap<string, Instant>) =>
    (other.get(who) ?? Number.POSITIVE_INFINITY) >= when + LATER_MS
  // With other people the order of the pages tells, not who they go to.
  const isOthers = [...at.keys()].some(who => !then.has(who))
  if (urgencyIn(now) > urgencyIn(was) || firstNow.at >= first.at + LATER_MS) return 'fewer'
  if (!isOthers && [...then].some(one => isLater(one, at))) return 'fewer'
  if (at.size < then.size) return 'fewer'
  if (urgencyIn(now) < urgencyIn(was) || [...at].some(one => isLater(one, then))) return isOthers ? 'other' : 'more'
  const text = (pages: readonly PageSent[]) => pages.map(({ to, why, urgency }) => `${to} ${why} ${urgency}`).join()
  return text(was) === text(now) ? 'same' : 'other'
}

/** When each person was first paged. */
function firstPaged(pages: readonly PageSent[]): ReadonlyMap<string, Instant> {
  const first = new Map<string, Instant>()
  for (const { to, at } of pages) if (!first.has(to)) first.set(to, at)
  return first
}

const URGENCIES = ['ambulance', 'set-out', 'speak']

/** Rank of the most urgent page: 0 is the most urgent. */
const urgencyIn = (pages: readonly PageSent[]): number =>
  Math.min(...pages.map(({ urgency }) => URGENCIES.indexOf(urgency)))
