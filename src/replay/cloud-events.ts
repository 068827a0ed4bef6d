/** Steps of recorded cases as CloudEvents 1.0 (JSON event format), one event a line. */
import { isoOf } from './iso.ts'
import type { StepLine, TranscriptHead } from './transcript.ts'

export interface CloudEvent {
  readonly specversion: '1.0'
  /** Unique together with `source`: case and number of the step. */
  readonly id: string
  readonly source: string
  readonly type: string
  readonly subject: string
  readonly time: string
  readonly datacontenttype: 'application/json'
  /** Extension "sequence": the order of the events of one subject. */
  readonly sequence: string
  /** Our own extension: the transcript's chain at this line. */
  readonly chain: string
  readonly data: { readonly event: unknown; readonly decided: readonly unknown[]; readonly edition: string }
}

/** @param source  a URI reference for the line that the transcript is of, such as `urn:smallhours:demo` */
export function cloudEventOf(step: StepLine, source: string): CloudEvent {
  return {
    specversion: '1.0',
    id: `${step.case}/${step.seq}`,
    source,
    type: `smallhours.case.${step.event.kind}.v1`,
    subject: step.case,
    time: isoOf(step.at),
    datacontenttype: 'application/json',
    sequence: String(step.seq).padStart(8, '0'),
    chain: step.chain,
    data: { event: step.event, decided: step.effects, edition: step.edition },
  }
}

/** Where events of a transcript say that they come from, unless it is said. */
export const sourceOf = ({ kept }: TranscriptHead): string =>
  kept.length === 0 ? 'urn:smallhours:de-identified' : 'urn:smallhours:clinic'
