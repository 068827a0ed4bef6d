import type { Effect } from '../../src/case/effect.ts'
import type { CaseEvent, Clinician } from '../../src/case/event.ts'
import type { Part } from '../../src/case/message.ts'
import type { Machine, RunningCase } from '../../src/runtime/machine.ts'
import type { Understand } from '../../src/runtime/understanding.ts'
import { after, type Instant, minutes } from '../../src/time/instant.ts'
import type { Understood } from '../../src/understand/understood.ts'

/**
 * A line small enough to see through, for tests of the runtime alone: it asks one question after the other, remembers what
 * was said, pages on "person" and on danger, and sets one alarm. The words "break the machine" make its step throw.
 */
export interface FakeCase extends RunningCase {
  readonly serial: number
  readonly heard: readonly string[]
  readonly alarms: Readonly<Record<string, { readonly due: Instant }>>
  readonly taken?: Clinician
  /** Rendered into every reply, so that a text rendered again can be told from one kept. */
  readonly counter: number
}

export const SILENCE = 'silence'
export const SILENT_AFTER = minutes(10)

type Draft = { -readonly [K in keyof FakeCase]: FakeCase[K] }

export function fakeMachine(concerns: readonly string[] = ['tube-out']): Machine {
  return {
    concerns: new Set(concerns),
    languages: ['en'],
    concernsIn: () => new Set(concerns),
    codeOf: random4 => `Sun ${1000 + (random4 % 9000)}`,
    openCase: ({ serialAfter, caseId, chat, code, concern, nickname }) => {
      const name = nickname === undefined ? {} : { nickname }
      const state: FakeCase = {
        caseId,
        chat,
        code,
        concern,
        closed: false,
        serial: serialAfter,
        heard: [],
        alarms: {},
        counter: 0,
        ...name,
      }
      return state
    },
    parse: json => {
      const state = JSON.parse(json) as FakeCase
      if (!Array.isArray(state.heard)) throw new Error('the stored case is not one of this line')
      return state
    },
    step: (state, event, at) => fakeStep(state as FakeCase, event, at),
    holderOf: state => (state as FakeCase).taken,
    renderReply: (state, effect, at, { repeated }) => {
      const { counter, closed } = state as FakeCase
      const label: Part[] = repeated ? [{ kind: 'notice', id: 'repeat-label', text: 'Sent again' }] : []
      const parts = effect.parts.map((part): Part => {
        if (part.kind === 'clinician') return { kind: 'person', name: part.name, role: part.role, text: part.text }
        if (part.kind === 'ask') {
          return {
            kind: 'question',
            serial: part.serial,
            fact: part.fact,
            text: `Question ${part.serial}`,
            options: [],
            several: false,
            accepts: 'words',
          }
        }
        const id = 'id' in part ? part.id : part.kind
        return { kind: 'notice', id, text: `${id} ${counter} ${closed ? 'closed' : 'open'} @${at}` }
      })
      return [...label, ...parts]
    },
    timesAhead: (state, at) => Object.values((state as FakeCase).alarms).flatMap(({ due }) => (due > at ? [due] : [])),
    renderPage: (state, effect) => [`${effect.urgency} ${effect.why} ${effect.reason}`, state.code],
    fallbackParts: () => [
      { kind: 'advice', id: 'fallback', text: 'Ring 911 or 212 555 0110', tags: ['call-emergency'] },
    ],
    linePage: news => [`LINE ${news}`],
    parkedPage: ({ code, why }) => [`PARKED ${why}`, code ?? 'no code'],
  }
}

function fakeStep(before: FakeCase, event: CaseEvent, at: Instant): { state: FakeCase; effects: Effect[] } {
  if ('said' in event && event.said?.includes('break the machine') === true) throw new Error('broken on purpose')
  const state: Draft = { ...before, counter: before.counter + 1 }
  const effects: Effect[] = []
  const says: string[] = []
  const page = (to: string, why: 'page' | 'taken' = 'page') =>
    effects.push({
      kind: 'page',
      to,
      why,
      reason: event.kind,
      urgency: event.kind === 'dangerSaid' ? 'ambulance' : 'set-out',
      number: 1,
      of: 2,
    })
  const ask = () => {
    state.serial += 1
    state.open = { serial: state.serial, fact: 'n', askedAt: at }
    const due = after(at, SILENT_AFTER)
    state.alarms = { ...state.alarms, [SILENCE]: { due } }
    effects.push({ kind: 'setAlarm', name: SILENCE, due })
  }
  switch (event.kind) {
    case 'caseOpened':
      says.push('hold')
      if ((event.danger ?? []).length > 0) page('amara')
      ask()
      break
    case 'answerGiven':
      state.heard = [...state.heard, event.said]
      says.push('thanks')
      ask()
      break
    case 'staleAnswer':
    case 'notUnderstood':
      state.heard = [...state.heard, `${event.kind}:${event.said}`]
      says.push(event.kind)
      break
    case 'personWanted':
    case 'dangerSaid':
      state.heard = [...state.heard, event.kind]
      page('amara')
      says.push(event.kind)
      break
    case 'alarmDue': {
      if (state.alarms[event.name]?.due !== event.due) break
      const { [event.name]: _gone, ...rest } = state.alarms
      state.alarms = rest
      state.heard = [...state.heard, `alarm:${event.name}`]
      says.push('alarm')
      break
    }
    case 'pageSettled':
      state.heard = [...state.heard, `page ${event.to} ${event.outcome}`]
      if (event.outcome === 'given-up') page('ben')
      break
    case 'pageAcknowledged':
      state.taken = event.by
      says.push('taken')
      break
    case 'clinicianWrote':
      effects.push({
        kind: 'reply',
        parts: [{ kind: 'clinician', name: event.by.name, role: event.by.role, text: event.text }],
        audible: true,
      })
      break
    case 'outcomeSet':
      state.closed = true
      effects.push({ kind: 'closeCase' }, { kind: 'cancelAlarm', name: SILENCE })
      state.alarms = {}
      if (event.doNotWrite) state.doNotWrite = true
      delete state.open
      break
    case 'resumed':
      says.push('out-of-touch')
      break
    default:
      state.heard = [...state.heard, event.kind]
  }
  if (says.length > 0) {
    const question =
      state.open === undefined ? [] : [{ kind: 'ask' as const, serial: state.open.serial, fact: state.open.fact }]
    effects.unshift({
      kind: 'reply',
      parts: [...says.map(id => ({ kind: 'say' as const, id })), ...question],
      audible: true,
    })
  }
  return { state, effects }
}

/** Reads words as they stand: "person", "danger", "tube …" as a first message, anything else as an answer. */
export const fakeUnderstand: Understand = ({ body, state }): Understood => {
  if (body.kind === 'text' && body.text.includes('break the reader')) throw new Error('broken on purpose')
  if (body.kind === 'control') {
    if (body.control === 'person' || body.control === 'cannot-travel') return { kind: body.control, said: '' }
    if (body.control === 'they-rang' || body.control === 'wrong-tap') return { kind: body.control }
    return body.control === 'change' ? { kind: 'change', fact: 'n' } : { kind: 'control', control: body.control }
  }
  if (body.kind === 'media') return { kind: 'misread', reason: 'media', said: '' }
  if (body.kind === 'choice') {
    const said = body.values.join(', ')
    if (body.serial !== state?.open?.serial) return { kind: 'misread', reason: 'not-now', said }
    return { kind: 'answer', answer: { kind: 'choice', value: said }, said }
  }
  const said = body.text
  if (said.includes('danger')) return { kind: 'danger', signs: ['breathing'], said }
  if (said.includes('person')) return { kind: 'person', said }
  if (state?.open === undefined) {
    return {
      kind: 'concern',
      concerns: said.includes('tube') ? ['tube-out'] : said.includes('leak') ? ['leaking'] : [],
      facts: {},
      readBacks: {},
      said,
    }
  }
  return { kind: 'answer', answer: { kind: 'choice', value: said }, said }
}
