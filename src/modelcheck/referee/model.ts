/** What the parts of the printed model share: the names of its variables, steps and labels. */
import type { FlatFlow } from '../model/tables.ts'
import { assertFits, assertSeenAlike, conditionOf, namer } from './words.ts'

export interface PromelaOptions {
  /** `restart`: a change clears all answers, what is history stays. */
  readonly corrections?: 'restart' | 'none'
  /** Words and taps that come at any moment. */
  readonly interruptions?: boolean
  /** What is watched beside the flow. */
  readonly watch?: PromelaWatch
  /** From a moment that the watch chooses (`quiet`) nobody answers: only stored alarms and time happen. */
  readonly silence?: boolean
}

/** Lines put into the model to watch it; they may change only variables they declare. */
export interface PromelaWatch {
  readonly declared: readonly string[]
  /** As a step is entered, before what it does; what it sets is set. */
  readonly entering: (node: number) => readonly string[]
  /** As an event begins, before anything it does. */
  readonly beginning: readonly string[]
  /** Once everything an event leads to is done. */
  readonly ending: readonly string[]
  /** After the model: claims in temporal logic. */
  readonly claims: readonly string[]
}

export const NOTHING_WATCHED: PromelaWatch = {
  declared: [],
  entering: () => [],
  beginning: [],
  ending: [],
  claims: [],
}

/** Variables by what they stand for. */
export interface PromelaModel {
  readonly flat: FlatFlow
  readonly corrections: 'restart' | 'none'
  readonly interruptions: boolean
  readonly silence: boolean
  readonly watch: PromelaWatch
  /** Number of a step, as a word. */
  readonly step: (node: number) => string
  /** Label where a step is entered, and where it is left. */
  readonly enter: (node: number) => string
  readonly leave: (node: number) => string
  readonly fact: (field: number) => string
  readonly armed: (alarm: number) => string
  /** Set while talk is replayed: the alarm, or the advice, lies on the way. */
  readonly armedAnew: (alarm: number) => string
  /** Set, and waiting for an answer that makes its moment known. */
  readonly waits: (alarm: number) => string
  readonly inForce: (hazard: number) => string
  readonly inForceAnew: (hazard: number) => string
  /** Field of a fact, or undefined where the flow does not have it. */
  readonly special: (fact: string) => number | undefined
  readonly classNamed: (field: number, value: string) => number
  /** Moment of an alarm, undefined for one counted from its step. */
  readonly moment: (alarm: number) => string | undefined
  /** A condition as a word, defined once. */
  readonly condition: (test: FlatFlow['nodes'][number]['rows'][number]['tests'][number]) => string
  /** All conditions so far, as definitions. */
  readonly definitions: () => string[]
}

export function modelOf(flat: FlatFlow, options: PromelaOptions): PromelaModel {
  assertFits(flat)
  const names = { step: namer('STEP'), enter: namer('into'), leave: namer('from'), fact: namer('fact') }
  const armed = namer('armed')
  const anew = namer('anew')
  const waits = namer('waits')
  const force = namer('inforce')
  const forceAnew = namer('saidanew')
  const idOf = (node: number) => flat.nodes[node]?.id ?? 'nowhere'
  const factName = (field: number) => {
    if (field === flat.fields.elapsed) return 'elapsed'
    if (field === flat.fields.timeLeft) return 'time_left'
    if (field === flat.fields.reachable) return 'reachable'
    return names.fact(flat.cells[field]?.fact ?? 'nothing')
  }
  const alarmName = (alarm: number) => flat.alarms[alarm]?.name ?? 'none'
  const moments = new Map(flat.nodes.flatMap(node => node.alarms.map(({ alarm, moment }) => [alarm, moment] as const)))
  const defined = new Map<string, string>()
  return {
    flat,
    corrections: options.corrections ?? 'restart',
    interruptions: options.interruptions ?? true,
    silence: options.silence ?? false,
    watch: options.watch ?? NOTHING_WATCHED,
    step: node => names.step(idOf(node)),
    enter: node => names.enter(idOf(node)),
    leave: node => names.leave(idOf(node)),
    fact: factName,
    armed: alarm => armed(alarmName(alarm)),
    armedAnew: alarm => anew(alarmName(alarm)),
    waits: alarm => waits(alarmName(alarm)),
    inForce: hazard => force(flat.hazardous[hazard] ?? 'none'),
    inForceAnew: hazard => forceAnew(flat.hazardous[hazard] ?? 'none'),
    special: fact => flat.fieldOf.get(fact),
    classNamed: (field, value) =>
      flat.cells[field]?.domain.classes.findIndex(({ members }) => members.includes(value)) ?? -1,
    moment: alarm => moments.get(alarm),
    condition: test => {
      assertSeenAlike(test, flat)
      const text = conditionOf(test, flat, factName)
      if (text === 'true' || text === 'false') return text
      const known = defined.get(text) ?? `HOLDS_${defined.size + 1}_${test.on.replace(/[^A-Za-z0-9]+/g, '_')}`
      defined.set(text, known)
      return known
    },
    definitions: () => [...defined].map(([text, name]) => `#define ${name} ${text}`),
  }
}
