import type { AdviceDocument, AlarmDocument, FactDocument, FactsFile, StepDocument, TagsFile } from './document.ts'
import type { Kernel } from './kernel.ts'
import type { Catalogue } from './wording.ts'

/** A loaded, checked and compiled set of flows, with everything a conversation needs. */
export interface FlowSet {
  readonly flows: ReadonlyMap<string, Flow>
  readonly facts: FactsFile['facts']
  readonly derived: FactsFile['derived']
  readonly policies: FactsFile['policies']
  readonly tags: TagsFile['tags']
  /** Shared wording, by language. */
  readonly wording: ReadonlyMap<string, Catalogue>
}

/** A step with every reference resolved: ids of shared steps carry `shared/`. */
export interface Step extends Omit<StepDocument, 'route' | 'go' | 'alarms'> {
  readonly id: string
  /** `go` is written as a one-row route. Empty for wait and end. */
  readonly rows: readonly { readonly if: Readonly<Record<string, readonly string[]>>; readonly go: string }[]
  readonly alarms: readonly AlarmDocument[]
}

export interface Flow {
  readonly concern: string
  readonly start: string
  readonly silence: { readonly ask: string; readonly page: string } | undefined
  readonly unanswered: string | undefined
  /** Steps of the flow and every shared step it can reach. */
  readonly steps: ReadonlyMap<string, Step>
  readonly advice: ReadonlyMap<string, AdviceDocument>
  readonly kernel: Kernel
  /** The advice that ends a reply which asks for an act and names no number. */
  readonly closing: string | undefined
  /** Flow and shared wording together, by language. */
  readonly wording: ReadonlyMap<string, Catalogue>
}

export type Facts = FactsFile['facts']
export type { FactDocument }

/** Steps every line has; they can be reached at any moment. */
export const ANY_TIME_STEPS = ['shared/emergency', 'shared/person', 'shared/cannot-travel'] as const
