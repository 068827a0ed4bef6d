import { InvariantBroken, isWorded, type Line, languagesOf, staffLine } from '../case/line.ts'
import { fallbackParts, renderPage, renderReply } from '../case/render.ts'
import { type CaseState, caseCode, openCase, parseServed } from '../case/state.ts'
import { step } from '../case/step.ts'
import { timesAhead } from '../case/times-ahead.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { numberText } from '../oncall/number-text.ts'
import { wallTimeAt, weekdayOf, weekdays } from '../oncall/wall-time.ts'
import { instant } from '../time/instant.ts'
import type { Machine, RunningCase } from './machine.ts'
import type { ParkedWhy } from './parking.ts'
import type { LineNews } from './watch-pages.ts'

/** The machine over the flows, clinic and settings of one line. */
export function lineMachine(line: Line): Machine {
  // Worked out once at the start: a wording that cannot say it is refused then, not at night.
  const fixed = fallbackParts(line, instant(0))
  return {
    concerns: new Set(line.flows.flows.keys()),
    languages: languagesOf(line),
    concernsIn: language => new Set([...line.flows.flows.keys()].filter(concern => isWorded(line, concern, language))),
    codeOf: (random4, at) => {
      const monday = weekdays.indexOf(weekdayOf(wallTimeAt(line.clinic.zone, at).day))
      return caseCode((monday + 1) % 7, random4)
    },
    openCase: ({ serialAfter, ...opening }) => ({ ...openCase(line, opening), serial: serialAfter }),
    parse: json => parseServed(line, json),
    step: (state, event, at) => step(line, caseState(state), event, at),
    holderOf: state => {
      const { callout, kernel } = caseState(state)
      return kernel.callout === 'taken' || kernel.callout === 'spoken' ? callout.taken?.by : undefined
    },
    renderReply: (state, effect, at, extra) => renderReply(line, caseState(state), effect, at, extra),
    timesAhead: (state, at) => timesAhead(line, caseState(state), at),
    renderPage: (state, effect, at) => renderPage(line, caseState(state), effect, at),
    fallbackParts: (at, language) => {
      try {
        return fallbackParts(line, at, language)
      } catch {
        return fixed
      }
    },
    linePage: news => linePieces(line, news),
    parkedPage: ({ code, why }) => [parkedWords(line, why), codeWords(line, code)].filter(piece => piece !== ''),
  }
}

/** What this machine opened or parsed is a whole case; anything else was never given out by it. */
function caseState(state: RunningCase): CaseState {
  if ('kernel' in state && 'version' in state) return state as CaseState
  throw new InvariantBroken(`case "${state.caseId}" was not opened or read by this machine`)
}

/** The head of a page about a case no flow carries on.  */
function parkedWords(line: Line, why: ParkedWhy): string {
  return staffText(line, why === 'broken' ? 'page/parked' : `page/${why}`)
}

/** What has to be done first: the news, then the rest of it. */
function linePieces(line: Line, news: LineNews): readonly string[] {
  const number = numberText(familyNumbers(line.clinic).clinic.number)
  return [staffText(line, `page/line-${news}`), staffText(line, `page/line-${news}-do`, { clinicNumber: number })]
}

/** A page must go out whatever the wording lacks: its id, in capitals, is better than nothing. */
function staffText(line: Line, id: string, values: Readonly<Record<string, string>> = {}): string {
  const wording = line.flows.wording.get(staffLine(line).language)
  try {
    return wording?.has(id) === true ? wording.text(id, values) : id.toUpperCase()
  } catch {
    return id.toUpperCase()
  }
}

function codeWords(line: Line, code: string | undefined): string {
  if (code === undefined) return ''
  const words = staffText(line, 'page/code', { code })
  return words.includes(code) ? words : code
}
