/** The tables of a flow in small whole numbers, and how a state over them is read. */
import { DISPOSITIONS } from '../../flow/document.ts'
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import type { Step } from '../../flow/flow-step.ts'
import type { AnswerClass, FactDomain } from './abstract-answers.ts'
import type { DerivedModel } from './abstract-derived.ts'

/** How a record of a fact stands: nothing, on record but not on this path, reached by talk, or told before it was asked. */
export const STATUS = { none: 0, recorded: 1, reached: 2, given: 3 } as const

/**
 * A cell holds status and class of one fact: 0 is nothing; otherwise 1 + (status − 1) × classes + class. Facts set by
 * steps are `reached` or nothing.
 */
export interface Cell {
  readonly fact: string
  readonly domain: FactDomain
  readonly size: number
}

/** A condition on some fields at once: holds where its table has a 1 at Σ value × stride. */
export interface Test {
  /** Fact, derived fact or policy of the flow. */
  readonly on: string
  readonly values: readonly string[]
  readonly fields: readonly number[]
  readonly strides: readonly number[]
  readonly table: Uint8Array
}

/** What stands until the case ends once it has come about: one of some tags was said, or what a rule speaks of came up in this walk. */
export type Mark = { readonly said: readonly string[] } | { readonly cameUp: string }

/** A rule can be broken no more once this urgency is decided for good and all these marks stand: one bit each of `FlatFlow.marks`. */
export interface Freed {
  readonly urgency: number
  readonly marks: number
}

/** A test that a rule makes, until one of these frees it. */
export interface Observed {
  readonly test: Test
  readonly freed: readonly Freed[]
}

export interface FlatRow {
  readonly tests: readonly Test[]
  /** Node index, or `RESUME`. */
  readonly go: number
  /** Position in the step's route; -1 for a plain `go`. */
  readonly row: number
}

export const RESUME = -1

/** An alarm's field: 0 not set, 1 set, or this: it fired and led back, and its step is on the path still. */
export const SPENT = 2

export interface FlatAlarm {
  readonly alarm: number
  /** Moment worked out from answers, or undefined for one counted from the step. */
  readonly moment: string | undefined
}

export interface FlatNode {
  readonly id: string
  readonly step: Step
  readonly isEmergency: boolean
  /** Urgency decided here, 0 none, 5 ambulance. */
  readonly decides: number
  readonly says: readonly string[]
  readonly page: string | undefined
  readonly alarms: readonly FlatAlarm[]
  readonly cancels: readonly number[]
  readonly sets: readonly { readonly field: number; readonly cell: number }[]
  /** Field of the fact asked, or -1. */
  readonly ask: number
  readonly again: boolean
  readonly quiet: boolean
  /** Nothing is asked and talk rests or has ended. */
  readonly rests: boolean
  readonly ends: boolean
  readonly rows: readonly FlatRow[]
  /** Tests that rules make as the step is entered, or while it stands open: what they read is not forgotten on the way here. */
  readonly observed: readonly Observed[]
}

export interface FlatFlow {
  readonly concern: string
  readonly flow: Flow
  readonly set: FlowSet
  readonly nodes: readonly FlatNode[]
  readonly nodeOf: ReadonlyMap<string, number>
  readonly start: number
  /** One cell per fact, in field order: field i is cell i. */
  readonly cells: readonly Cell[]
  readonly fieldOf: ReadonlyMap<string, number>
  readonly fields: Fields
  readonly alarms: readonly { readonly name: string; readonly target: number }[]
  readonly alarmOf: ReadonlyMap<string, number>
  /** Ids of advice that carries a hazardous tag: whether it is in force is part of the state. */
  readonly hazardous: readonly string[]
  readonly derived: ReadonlyMap<string, DerivedModel>
  readonly policies: Readonly<Record<string, string>>
  /** Facts a first message may say before they are asked, and which classes of each. */
  readonly givable: readonly { readonly field: number; readonly classes: readonly number[] }[]
  /** Steps whose route can change without an answer being corrected: by time, a follow-up, or an attempt. */
  readonly turning: readonly number[]
  /** Steps at which a way that turned may join the path again. */
  readonly joins: readonly number[]
  /** What frees rules, 30 at most. */
  readonly marks: readonly Mark[]
  /** Facts that are history: a correction leaves them. */
  readonly sticky: ReadonlySet<number>
  /** Urgency may rise above "speak" without the ladder hearing of it: a page that ran out may then still be a "speak" page. */
  readonly isOutpaced: boolean
  /** By alarm: it may lead back to the open question, and nothing but having fired keeps a replay from setting it again. */
  readonly canBeSpent: readonly boolean[]
  /** Every cell of a fact. */
  readonly every: readonly (readonly number[])[]
}

/** Where the fields after the cells stand. */
export interface Fields {
  readonly elapsed: number
  readonly timeLeft: number
  readonly reachable: number
  readonly talk: number
  readonly decided: number
  readonly floor: number
  readonly interrupted: number
  readonly danger: number
  readonly left: number
  readonly paged: number
  readonly ranOut: number
  /** First of one field an alarm: armed or not. */
  readonly armed: number
  /** Alarms that moved talk on, in order: this many fields, each alarm + 1 or 0. */
  readonly fired: number
  readonly firedMost: number
  /** First of one field a hazardous piece of advice: in force or not. */
  readonly inForce: number
  /** Only where talk returns instead of being replayed: the step it returns to, and per turning step the way taken. */
  readonly main: number
  readonly trail: number
  readonly decidedAt: number
  /** First of one field a join: passed on the path or not. */
  readonly passed: number
  /** An alarm moved talk on that was set before a step on the trail: what came between is in no certain order. */
  readonly mixed: number
  readonly count: number
}

/** Urgency as a number: 0 none, 1 at-home … 5 ambulance. */
export const urgencyOf = (id: string | undefined): number =>
  id === undefined ? 0 : DISPOSITIONS.length - DISPOSITIONS.indexOf(id as (typeof DISPOSITIONS)[number])

export const dispositionOf = (urgency: number): string | undefined =>
  urgency === 0 ? undefined : DISPOSITIONS[DISPOSITIONS.length - urgency]

/** Sizes of all fields, in order. */
export function fieldSizes(flat: FlatFlow): number[] {
  const { fields } = flat
  const sizes = flat.cells.map(cell => cell.size)
  sizes[fields.elapsed] = 3
  sizes[fields.timeLeft] = 2
  sizes[fields.reachable] = 2
  sizes[fields.talk] = flat.nodes.length
  sizes[fields.decided] = DISPOSITIONS.length + 1
  sizes[fields.floor] = DISPOSITIONS.length + 1
  for (const field of [fields.interrupted, fields.danger, fields.left, fields.paged, fields.ranOut]) sizes[field] = 2
  for (let alarm = 0; alarm < flat.alarms.length; alarm++)
    sizes[fields.armed + alarm] = flat.canBeSpent[alarm] === true ? 3 : 2
  for (let at = 0; at < fields.firedMost; at++) sizes[fields.fired + at] = flat.alarms.length + 1
  for (let at = 0; at < flat.hazardous.length; at++) sizes[fields.inForce + at] = 2
  sizes[fields.main] = flat.nodes.length
  flat.turning.forEach((node, at) => {
    sizes[fields.trail + at] = 1 + (flat.nodes[node]?.rows.length ?? 0)
    sizes[fields.decidedAt + at] = DISPOSITIONS.length + 1
  })
  for (let at = fields.passed; at <= fields.mixed; at++) sizes[at] = 2
  return sizes
}

const isSet = (domain: FactDomain): boolean => domain.document.settable === true

export const cellSize = (domain: FactDomain): number =>
  isSet(domain) ? 1 + domain.classes.length : 1 + 3 * domain.classes.length

/** The cell of a class; for a fact set by steps the status is left out. */
export function cellFor(cell: Cell, status: number, classIndex: number): number {
  return isSet(cell.domain) ? 1 + classIndex : 1 + (status - 1) * cell.domain.classes.length + classIndex
}

export function statusIn(cell: Cell, value: number): number {
  if (value === 0) return STATUS.none
  return isSet(cell.domain) ? STATUS.reached : 1 + Math.floor((value - 1) / cell.domain.classes.length)
}

export function classIn(cell: Cell, value: number): AnswerClass | undefined {
  return value === 0 ? undefined : cell.domain.classes[(value - 1) % cell.domain.classes.length]
}

/** The class a condition sees: none while talk has not reached the fact. */
export function seenIn(cell: Cell, value: number): AnswerClass | undefined {
  return statusIn(cell, value) >= STATUS.reached ? classIn(cell, value) : undefined
}

/** Whether a test holds in a state given as one number a field. */
export function holds(test: Test, state: Int32Array): boolean {
  let index = 0
  for (let i = 0; i < test.fields.length; i++)
    index += (state[test.fields[i] as number] as number) * (test.strides[i] as number)
  return test.table[index] === 1
}
