/** What a check of flows brings to light: findings with the shortest way to each, witnesses and figures. Plain data. */
import type { Move } from '../model/flat-step.ts'

/** Something that breaks, in one flow under one setting of the policies it reads. */
export interface Finding {
  /** Id of a rule of flows/rules, or of a check that holds for every flow. */
  readonly rule: string
  /** `vacuous`: what the rule speaks of comes up in no flow under any policies, so the rule shows nothing. */
  readonly kind: 'rule' | 'built-in' | 'vacuous'
  /** Empty for `vacuous`, and for what concerns the call-out ladder alone. */
  readonly flow: string
  readonly policies: Readonly<Record<string, string>>
  /** One plain sentence: what breaks, in words a nurse can read. */
  readonly says: string
  /** The shortest conversation that ends in it; empty where no conversation is needed to see it. */
  readonly way: readonly Move[]
  /** How the moves are to be played again (see `MoverOptions`). */
  readonly resume: 'return' | 'replay'
  /** The step, and the row of its route counted from 0, where that can be said. */
  readonly at?: { readonly step: string; readonly row?: number }
  /** For the call-out ladder: what happens, one plain line each, in place of moves. */
  readonly lines?: readonly string[]
}

/** A rule's trigger came up: the shortest way to it. */
export interface Witness {
  readonly rule: string
  readonly way: readonly Move[]
}

/** Questions put to a family that answers each as it comes, over all ways of answering. -1: it never comes to that. */
export interface QuestionFigure {
  readonly best: number
  readonly median: number
  readonly worst: number
}

export interface QuestionFigures {
  /** Questions answered before a disposition is first decided. */
  readonly toDecision: QuestionFigure
  /** Questions answered before the first advice of any kind. */
  readonly toAdvice: QuestionFigure
  /** Questions answered until nothing more is asked. */
  readonly toRest: QuestionFigure
}

/** One flow under one setting of the policies that its conditions read. */
export interface FlowReport {
  readonly flow: string
  readonly policies: Readonly<Record<string, string>>
  /** `whole`: with all that follows an interruption or a change of mind; `once`: each of these and its reply was looked at. */
  readonly walked: 'whole' | 'once'
  readonly states: number
  readonly transitions: number
  readonly bytes: number
  /** Inputs of the machine that serves, all different, for which it was held to the tables walked here; 0: not held. */
  readonly compared: number
  readonly seconds: number
  /** It was walked at an earlier check, and nothing it depends on has changed since; `seconds` is what it took then. */
  readonly asBefore?: true
  /** Ids of the rules of flows/rules that were looked at here. */
  readonly rules: readonly string[]
  readonly findings: readonly Finding[]
  readonly questions: QuestionFigures
  readonly witnesses: readonly Witness[]
  /** Plain sentence where the flow was too large to be walked whole; its findings then cover what was seen. */
  readonly notWhole?: string
}

/** The call-out ladder walked by itself, for each number of people on it. */
export interface LadderReport {
  readonly people: number
  readonly urgency: 'urgent' | 'speak'
  readonly states: number
  readonly transitions: number
  readonly findings: readonly Finding[]
}

/** Everything a check found. */
export interface CheckReport {
  /** Rules of flows/rules. */
  readonly rules: number
  /** Ids of those that wait for a flow nobody has written yet. */
  readonly pending: readonly string[]
  readonly flows: readonly FlowReport[]
  readonly ladder: readonly LadderReport[]
  /** What belongs to no single flow: vacuous rules. */
  readonly findings: readonly Finding[]
  readonly seconds: number
}

/** Where a check stands, for a progress bar. */
export interface CheckProgress {
  readonly flow: string
  readonly policies: Readonly<Record<string, string>>
  /** Settings of policies done and to do, over all flows. */
  readonly done: number
  readonly of: number
  readonly states: number
  /** States whose moves were looked at already. */
  readonly looked: number
}
