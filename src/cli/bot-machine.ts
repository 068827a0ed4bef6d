/** The pure bot, bound to one line, in the shape the runtime asks for. */
import type { Line } from '../case/line.ts'
import { fallbackParts, renderPage, renderReply } from '../case/render.ts'
import { type CaseState, caseCode, openCase, parseState } from '../case/state.ts'
import { step } from '../case/step.ts'
import type { Machine } from '../runtime/machine.ts'
import type { Instant } from '../time/instant.ts'
import { weekdayAt } from '../time/local-time.ts'

/** `now` is asked only for texts that stand outside any case. */
export function botMachine(line: Line, now: () => Instant): Machine {
  return {
    concerns: new Set(line.flows.flows.keys()),
    openCase: ({ random4, ...opening }) => openCase(line, { ...opening, code: caseCode(weekdayAt(opening.at, line.clinic.zone), random4) }),
    parse: json => parseState(line, json),
    step: (state, event, at) => step(line, state as CaseState, event, at),
    holderOf: state => {
      const { callout, kernel } = state as CaseState
      return kernel.callout === 'taken' || kernel.callout === 'spoken' ? callout.taken?.by : undefined
    },
    renderReply: (state, effect, at, extra) => renderReply(line, state as CaseState, effect, at, extra),
    renderPage: (state, effect, at) => renderPage(line, state as CaseState, effect, at),
    fallbackParts: () => fallbackParts(line, now()),
    parkedPage: ({ code }) => {
      const wording = line.flows.wording.get(line.language)
      return [wording?.text('page/parked') ?? 'CASE CANNOT GO ON', code === undefined ? '' : (wording?.text('page/code', { code }) ?? code)].filter(piece => piece !== '')
    },
  }
}

