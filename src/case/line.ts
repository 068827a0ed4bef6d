import type { Thresholds } from '../clinical/thresholds.ts'
import type { Flow, FlowSet } from '../flow/flow-set.ts'
import type { Catalogue } from '../flow/wording.ts'
import type { Clinic } from '../oncall/clinic.ts'

/** Settings a case reads: the thresholds, and the switches that conditions of a flow may name. */
export type LineSettings = Thresholds

/** Everything a step may read, built once at start: the checked flows, the clinic and its settings. */
export interface Line {
  readonly flows: FlowSet
  readonly clinic: Clinic
  readonly settings: LineSettings
  /** The language that texts are worked out in: see `familyLine` and `staffLine`. As loaded, the first that families use. */
  readonly language: string
  /** Languages a family may use, the first the default; left out: `language` alone. */
  readonly languages?: readonly string[]
  /** Concerns, the most urgent first; left out: the order of the flows. */
  readonly mostUrgentFirst?: readonly string[]
  /** Few fixed words in languages this line does not speak, by ISO 639 code. */
  readonly foreign?: ReadonlyMap<string, Catalogue>
  /** Hash of each flow's exact content, by concern: a case is told when it is not the one it was opened under. */
  readonly hashes?: ReadonlyMap<string, string>
}

/** Something that cannot be true is. The case is parked, the family gets the fixed text, a clinician is paged. */
export class InvariantBroken extends Error {
  override readonly name: string = 'InvariantBroken'
}

/** A case belongs to other content than is served. It is parked like a broken one, and its page says why. */
export class FlowChanged extends InvariantBroken {
  override readonly name = 'FlowChanged'
}

/** The flow of a case; a case whose flow is not served any more is parked. */
export function flowOf(line: Line, concern: string): Flow {
  const flow = line.flows.flows.get(concern)
  if (flow === undefined) throw new InvariantBroken(`no flow is served for concern "${concern}"`)
  return flow
}

/** A setting that is a length of time or a number, by id; undefined when there is none of that id. */
export function settingOf({ settings }: Pick<Line, 'settings'>, id: string): unknown {
  return (settings as unknown as Readonly<Record<string, unknown>>)[id]
}

/** The same line speaking another language. */
export function lineIn(line: Line, language: string): Line {
  return language === line.language ? line : { ...line, language }
}

/** The line as it speaks to the family of a case: in the language of its first message, or the one it chose since. */
export function familyLine(line: Line, { language }: { readonly language?: string | undefined }): Line {
  return lineIn(line, language ?? languagesOf(line)[0] ?? line.language)
}

/** The line as it speaks to the clinic's own people. */
export function staffLine(line: Line): Line {
  const { staffLanguage } = line.clinic
  return line.flows.wording.has(staffLanguage) ? lineIn(line, staffLanguage) : line
}

/** Languages a family may use, the first the default. */
export function languagesOf(line: Line): readonly string[] {
  return line.languages ?? [line.language]
}

/** Whether a concern has a flow that a family can be led through in this language. */
export function isWorded(line: Line, concern: string, language: string): boolean {
  return line.flows.flows.get(concern)?.wording.has(language) === true
}

/** The flow's wording in the language the line speaks; shared words alone where the flow has none in it. */
export function wordingOf(line: Line, concern: string): Catalogue {
  const wording = flowOf(line, concern).wording.get(line.language) ?? line.flows.wording.get(line.language)
  if (wording === undefined) throw new InvariantBroken(`no wording in "${line.language}" for "${concern}"`)
  return wording
}
