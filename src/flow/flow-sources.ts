import type { FactsFile, FlowDocument, SourcesFile, StepDocument, TagsFile, Wording } from './document.ts'
import type { LintException, LintRules, LintWords } from './lint-document.ts'
import type { PlacedYaml } from './yaml-places.ts'

/** A file of one shape, with the places of its values. */
export interface Placed<T> {
  readonly value: T
  readonly yaml: PlacedYaml
}

/** Everything read from the files of a folder, before ids are checked against each other. */
export interface FlowSources {
  readonly facts: Placed<FactsFile>
  readonly tags: Placed<TagsFile>
  readonly sharedSteps: Placed<{ steps: Record<string, StepDocument> }>
  readonly sharedSources: Placed<SourcesFile>
  readonly sharedWording: ReadonlyMap<string, Placed<Wording>>
  readonly flows: readonly FlowFolder[]
  /** Left out when shared/lint.yaml cannot be read, which is a problem of its own. */
  readonly lint?: LintSources
}

/** What the words are checked by. */
export interface LintSources {
  readonly rules: Placed<LintRules>
  /** Lists, by language. */
  readonly words: ReadonlyMap<string, Placed<LintWords>>
  /** By folder. */
  readonly exceptions: ReadonlyMap<string, Placed<LintException[]>>
  /** Words of the screens, by language. */
  readonly screens: ReadonlyMap<string, Placed<Wording>>
}

export interface FlowFolder {
  readonly name: string
  readonly flow: Placed<FlowDocument>
  readonly sources: Placed<SourcesFile>
  readonly wording: ReadonlyMap<string, Placed<Wording>>
}
