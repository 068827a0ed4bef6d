/**
 * The tables against the machine that serves. A flow is compiled twice: to the tables that the checker walks, and to the
 * XState machine that talks with families. Every kernel event the checker drives is given to that machine too, with the
 * same facts; where talk stands afterwards and which steps were entered must agree. The same input is compared once.
 */
import type { KernelEvent, KernelFacts } from '../../flow/kernel.ts'
import type { AnswerClass } from './abstract-answers.ts'
import type { Driven, DrivenEvent, Mover } from './flat-step.ts'
import { packing, StateTable } from './packing.ts'
import { type Cell, type FlatFlow, fieldSizes, RESUME, seenIn } from './tables.ts'

/** One input on which tables and machine do not agree. */
export interface Disagreement {
  readonly event: string
  readonly from: string
  readonly facts: KernelFacts
  readonly tables: string
  readonly machine: string
}

export interface Comparison {
  /** Different inputs of the kernel, each given to both. */
  readonly compared: number
  /** Kernel events the walk drove, the same input counted as often as it came. */
  readonly driven: number
  /** The first of them; empty where tables and machine are the same. */
  readonly disagreements: readonly Disagreement[]
}

export interface Comparer {
  /** Hand this to `explore` as `onMover`. */
  readonly listen: (made: Mover) => void
  readonly result: () => Comparison
}

const EVENTS: readonly DrivenEvent[] = [
  'talkRestarted',
  'answered',
  'alarmDue',
  'dangerSaid',
  'personWanted',
  'travelRefused',
  'turned',
]
const DISAGREEMENTS_MOST = 10

export function comparer(flat: FlatFlow): Comparer {
  const { nodes, fields: F, cells } = flat
  const { kernel } = flat.flow
  const sizes = fieldSizes(flat)
  const read = [...cells.map((_, field) => field), F.elapsed, F.timeLeft, F.reachable]
  const inputs = packing([
    ...read.map(field => sizes[field] as number),
    EVENTS.length,
    flat.alarms.length + 1,
    nodes.length + 1,
  ])
  const known = new StateTable(inputs.words)
  const input = new Int32Array(read.length + 3)
  const packed = new Int32Array(inputs.words)
  const disagreements: Disagreement[] = []
  const factsIn = factsReader(flat)
  const blank = kernel.blank
  let driven = 0

  function isNew({ event, alarm, from, before }: Driven): boolean {
    for (let at = 0; at < read.length; at++) input[at] = before[read[at] as number] as number
    input[read.length] = EVENTS.indexOf(event)
    input[read.length + 1] = alarm + 1
    input[read.length + 2] = from + 1
    inputs.pack(input, packed, 0)
    const count = known.count
    return known.add(packed) === count
  }

  function compare(one: Driven): void {
    driven++
    // Where talk turns from a step that asks nothing, the machine passes it within a longer way.
    if (one.event === 'turned' && (nodes[one.from]?.ask ?? -1) < 0) return
    if (!isNew(one)) return
    const facts = factsIn(one.before)
    const talk = one.from < 0 ? blank.talk : (nodes[one.from]?.id ?? '')
    const { state, effects } = kernel.step(
      { ...blank, talk, facts: setFacts(flat, one.before) },
      eventOf(flat, one, facts),
    )
    const entered = effects.flatMap(effect => (effect.kind === 'entered' ? [effect.step] : []))
    const machine = `${entered.join(' ')} → ${state.talk}`
    const tables = `${one.entered.map(at => nodes[at]?.id).join(' ')} → ${one.to === RESUME ? 'resuming' : nodes[one.to]?.id}`
    if (machine !== tables && disagreements.length < DISAGREEMENTS_MOST)
      disagreements.push({ event: one.event, from: talk, facts, tables, machine })
  }

  return {
    listen(made) {
      made.onDriven = compare
    },
    result: () => ({ compared: known.count, driven, disagreements }),
  }
}

function eventOf(flat: FlatFlow, { event, alarm }: Driven, facts: KernelFacts): KernelEvent {
  if (event === 'turned') return { type: 'answered', facts }
  return event === 'alarmDue' ? { type: event, alarm: flat.alarms[alarm]?.name ?? '', facts } : { type: event, facts }
}

/** Facts that steps have set: the machine keeps them itself. */
function setFacts(flat: FlatFlow, state: Int32Array): KernelFacts {
  return Object.fromEntries(
    flat.cells.flatMap((cell, field) => {
      const value = cell.domain.document.settable === true ? seenIn(cell, state[field] as number)?.id : undefined
      return value === undefined ? [] : [[cell.fact, value]]
    }),
  )
}

/** The facts a case would hand to its machine in a state: answers in all their forms, derived facts, policies. */
function factsReader(flat: FlatFlow): (state: Int32Array) => KernelFacts {
  const { cells, fieldOf, fields: F, derived, policies } = flat
  const forms = cells.map(cell => cell.domain.classes.map(answer => formsOf(cell, answer)))
  const clock = { elapsed: F.elapsed, 'time-left': F.timeLeft, reachable: F.reachable }
  return state => {
    const facts: Record<string, string> = { ...policies }
    cells.forEach((cell, field) => {
      const answer = seenIn(cell, state[field] as number)
      if (answer === undefined || cell.domain.document.settable === true) return
      Object.assign(facts, forms[field]?.[cell.domain.classes.indexOf(answer)])
    })
    for (const [id, model] of derived)
      facts[id] = model.value({
        band: fact => {
          const field = fieldOf.get(fact)
          return field === undefined ? undefined : seenIn(cells[field] as Cell, state[field] as number)?.band
        },
        clock: field => state[clock[field]] as number,
      })
    return facts
  }
}

/** One answer of a class as conditions read it: its value, what "not sure" acts as, each value of a list. */
function formsOf({ fact, domain }: Cell, { id }: AnswerClass): KernelFacts {
  const { document } = domain
  const apart = document.apart ?? []
  const values = id === 'a-sign' ? [(document.values ?? []).find(value => !apart.includes(value)) ?? id] : id.split('+')
  if (id === 'unsure') return { [fact]: id, [`${fact}~`]: document['unsure-acts-as'] ?? id }
  if (document.kind === 'choice' || id === 'none-came') return { [fact]: id, [`${fact}~`]: id }
  if (document.kind !== 'many') return { [fact]: 'answered' }
  const one = values.length === 1 ? values[0] : undefined
  return { [fact]: one ?? 'several', ...Object.fromEntries(values.map(value => [`${fact}.${value}`, 'yes'])) }
}
