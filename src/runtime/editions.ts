import type { Line } from '../case/line.ts'
import { storedJson } from '../case/stored-json.ts'
import type { Machine, RunningCase } from './machine.ts'
import type { Understand } from './understanding.ts'

/** One line as it is served: the flows it speaks by, and what steps and reads with them. */
export interface Edition {
  readonly line: Line
  readonly machine: Machine
  readonly understand: Understand
}

/**
 * The line while it is changed under the cases that are open. Every call asks for the edition of its case: a case keeps the
 * flows it was opened under, by their hash, and has the people, hours and settings of now.
 */
export interface Editions {
  /** What a case that begins now is opened under. */
  current(): Edition
  /** The line that a stored case is read with. */
  lineOf(state: string): Line
  /** From the next call on. Steps under way end as they began: each reads one line, in one go. */
  take(next: Edition, earlier: (flows: Line) => Edition): void
  readonly machine: Machine
  readonly understand: Understand
}

/** Earlier flows that are kept for open cases. Each is some megabytes; a clinic that changes them more often in a night parks the oldest. */
const EARLIER_MOST = 6

/** What tells which flows a case was opened under. */
interface OpenedUnder {
  readonly concern?: unknown
  readonly flowHash?: unknown
}

/**
 * @param archived  an edition the line once served, by concern and flow hash; asked once for each that nothing here fits. Left
 *   out: after a restart a case of earlier flows is parked
 */
export function editions(
  first: Edition,
  archived?: (concern: string, flowHash: string) => Edition | undefined,
): Editions {
  let current = first
  let earlier: readonly Edition[] = []
  const askedFor = new Set<string>()

  const fits = ({ line }: Edition, { concern, flowHash }: OpenedUnder): boolean =>
    typeof concern === 'string' && line.hashes?.get(concern) === flowHash

  /** One that no edition fits is the current's to refuse: it is then parked, and its page says why. */
  function of(state: OpenedUnder): Edition {
    if (fits(current, state)) return current
    return earlier.find(edition => fits(edition, state)) ?? fromArchive(state) ?? current
  }

  function fromArchive({ concern, flowHash }: OpenedUnder): Edition | undefined {
    if (archived === undefined || typeof concern !== 'string' || typeof flowHash !== 'string') return undefined
    const key = `${concern} ${flowHash}`
    if (askedFor.has(key)) return undefined
    askedFor.add(key)
    const found = archived(concern, flowHash)
    if (found === undefined || !fits(found, { concern, flowHash })) return undefined
    earlier = [...earlier, found].slice(-EARLIER_MOST)
    return found
  }

  const isOneOnly = () => earlier.length === 0 && archived === undefined
  const ofStored = (json: string): Edition => (isOneOnly() ? current : of(openedUnder(json)))
  const ofCase = (state: RunningCase): Edition => of(state as RunningCase & OpenedUnder)

  return {
    current: () => current,
    lineOf: json => ofStored(json).line,
    take(next, renewed) {
      earlier = [current, ...earlier]
        .filter(({ line }) => !isSame(line, next.line))
        .slice(0, EARLIER_MOST)
        .map(({ line }) => renewed(line))
      current = next
    },
    machine: {
      get concerns() {
        return current.machine.concerns
      },
      get languages() {
        return current.machine.languages
      },
      concernsIn: language => current.machine.concernsIn(language),
      codeOf: (random4, at) => current.machine.codeOf(random4, at),
      openCase: opening => current.machine.openCase(opening),
      parse: json => ofStored(json).machine.parse(json),
      step: (state, event, at) => ofCase(state).machine.step(state, event, at),
      holderOf: state => ofCase(state).machine.holderOf(state),
      renderReply: (state, effect, at, extra) => ofCase(state).machine.renderReply(state, effect, at, extra),
      timesAhead: (state, at) => ofCase(state).machine.timesAhead(state, at),
      renderPage: (state, effect, at) => ofCase(state).machine.renderPage(state, effect, at),
      fallbackParts: (at, language) => current.machine.fallbackParts(at, language),
      linePage: news => current.machine.linePage(news),
      parkedPage: given => current.machine.parkedPage(given),
    },
    understand: message => (message.state === undefined ? current : ofCase(message.state)).understand(message),
  }
}

/** Whether two lines have the same flows, to the letter. Without hashes they cannot be told apart. */
function isSame(a: Line, b: Line): boolean {
  if (a.hashes === undefined || b.hashes === undefined) return true
  const [mine, other] = [a.hashes, b.hashes]
  return [...a.flows.flows.keys()].every(concern => mine.get(concern) === other.get(concern))
}

function openedUnder(json: string): OpenedUnder {
  try {
    return (storedJson(json) as OpenedUnder | null) ?? {}
  } catch {
    return {}
  }
}
