import type { AdviceDocument, FactDocument, FactsFile, SourcesFile, TagsFile } from './document.ts'
import type { Step } from './flow-step.ts'
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

export interface Flow {
  readonly concern: string
  readonly start: string
  readonly silence: { readonly ask: string; readonly page: string } | undefined
  readonly unanswered: string | undefined
  readonly left: string | undefined
  /** Steps of the flow and every shared step it can reach. */
  readonly steps: ReadonlyMap<string, Step>
  readonly advice: ReadonlyMap<string, AdviceDocument>
  /** Sources that advice may rest on, the flow's own and the shared ones, by id. */
  readonly sources: ReadonlyMap<string, SourcesFile['sources'][string]>
  readonly kernel: Kernel
  /** The advice that ends a reply which asks for an act and names no number. */
  readonly closing: string | undefined
  /** Flow and shared wording together, by language. */
  readonly wording: ReadonlyMap<string, Catalogue>
}

export type Facts = FactsFile['facts']
export type { FactDocument }
