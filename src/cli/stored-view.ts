/** The clinician's view of a stored case, ordinary or parked. */
import { viewOf } from '../case/handover.ts'
import { type Line, staffLine } from '../case/line.ts'
import { parseState } from '../case/state.ts'
import type { CaseView, LogLine } from '../case/view.ts'
import { codeIn, type Parked, parkedOf } from '../runtime/parking.ts'
import type { StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'

export function storedView(line: Line, stored: StoredCase, log: readonly LogLine[], at: Instant): CaseView {
  const parked = parkedOf(stored.state)
  if (parked !== undefined) return parkedView(line, stored, parked, log)
  try {
    return viewOf(line, parseState(line, stored.state), log, at)
  } catch {
    // Not parked yet, and not to be trusted: shown like one that is, so that it hides no other case and can be settled.
    return parkedView(line, stored, unreadable(stored), log)
  }
}

function unreadable({ state, changedAt }: StoredCase): Parked {
  const code = codeIn(state)
  const parked = { at: changedAt, why: 'broken', pagedAt: changedAt, pagedTimes: 0 } as const
  return { parked: code === undefined ? parked : { ...parked, code }, state }
}

/** A parked case has no handover to trust: what was said and told word for word, who has it, and nothing guessed. */
function parkedView(line: Line, stored: StoredCase, { parked }: Parked, log: readonly LogLine[]): CaseView {
  const wording = line.flows.wording.get(staffLine(line).language)
  const headline = wording?.text(parked.why === 'broken' ? 'page/parked' : `page/${parked.why}`) ?? parked.why
  const taken = parked.takenBy
  return {
    caseId: stored.caseId,
    code: parked.code ?? '',
    concern: wording?.text('concern/someone') ?? 'someone',
    openedAt: parked.at,
    closed: stored.closed,
    headline,
    disposition: undefined,
    callout: {
      sentence: taken?.name ?? headline,
      state: taken === undefined ? 'paging' : 'taken',
      ...(taken === undefined ? {} : { takenBy: taken.id }),
    },
    handover: { situation: [headline], background: [], assessment: [], recommendation: [], readBack: [] },
    answers: [],
    notAsked: [],
    told: log,
    coming: [],
    marks: [],
    notes: [],
    ...(parked.day === undefined ? {} : { day: { taker: parked.day.taker.name, at: parked.day.at } }),
  }
}
