import type { Pdu, ShortMessage } from 'smpp'

/** A part of a longer text, as its header or its optional fields say. */
export interface PartOf {
  readonly reference: number
  readonly count: number
  /** From 1 to `count`. */
  readonly number: number
}

/** The words of a message that came in; binary ones have none. */
export function wordsOf({ message_payload: payload, short_message: short }: Pdu): string {
  const { message = '' }: ShortMessage = payload ?? short ?? {}
  return typeof message === 'string' ? message : ''
}

/** Which part it is; undefined where it stands alone, or where the header contradicts itself. */
export function partOf(pdu: Pdu): PartOf | undefined {
  const [reference, count, number] = numbersOf(pdu)
  if (reference === undefined || count === undefined || number === undefined) return undefined
  return count > 1 && number >= 1 && number <= count ? { reference, count, number } : undefined
}

function numbersOf(pdu: Pdu): readonly (number | undefined)[] {
  for (const element of pdu.short_message?.udh ?? []) {
    if (element[0] === 0x00 && element.length === 5) return [element[2], element[3], element[4]]
    if (element[0] === 0x08 && element.length === 6) return [element.readUInt16BE(2), element[4], element[5]]
  }
  return [pdu.sar_msg_ref_num, pdu.sar_total_segments, pdu.sar_segment_seqnum]
}
