import { randomInt } from 'node:crypto'
import smpp from 'smpp'
import { partSeptets } from './alphabet.ts'

/** One short message as it is submitted. */
export interface Segment {
  /** Header that tells the parts of one text apart; none where the text fits one. 3GPP TS 23.040 section 9.2.3.24.1. */
  readonly header?: Buffer
  readonly octets: Buffer
}

export interface Segments {
  /** SMPP data coding: 0, the centre's default alphabet (GSM 7 bit, one octet a septet), or 8, UCS-2. */
  readonly coding: 0 | 8
  readonly parts: readonly Segment[]
}

/** Septets, or octets of UCS-2, of a text sent whole; 140 octets on the air. */
const WHOLE = { 0: 160, 8: 140 } as const
/** The same of one part beside its 6-octet header; of UCS-2 the whole units in 134 octets. */
const PART = { 0: partSeptets, 8: 134 } as const
const ESCAPE = 0x1b

/**
 * A text cut into short messages: never within a character. At most 255 parts.
 *
 * @param reference  the same in every part of one text, 0 to 255; left out: drawn
 * @throws RangeError on a longer text
 */
export function segmentsOf(text: string, reference: number = randomInt(256)): Segments {
  const coding = smpp.encodings.ASCII.match(text) ? 0 : 8
  const octets = smpp.encodings[coding === 0 ? 'ASCII' : 'UCS2'].encode(text)
  if (octets.length <= WHOLE[coding]) return { coding, parts: [{ octets }] }
  const pieces = cut(octets, coding)
  if (pieces.length > 255) throw new RangeError(`a text of ${pieces.length} short messages; expected at most 255`)
  return {
    coding,
    parts: pieces.map((piece, index) => ({
      header: Buffer.from([5, 0, 3, reference, pieces.length, index + 1]),
      octets: piece,
    })),
  }
}

function cut(octets: Buffer, coding: 0 | 8): Buffer[] {
  const pieces: Buffer[] = []
  for (let from = 0; from < octets.length; ) {
    let until = Math.min(octets.length, from + PART[coding])
    if (until < octets.length && isWithinCharacter(octets, until, coding)) until -= coding === 0 ? 1 : 2
    pieces.push(octets.subarray(from, until))
    from = until
  }
  return pieces
}

/** Whether the octet before `at` begins a character that goes on at `at`: an escape, or the first half of a pair. */
function isWithinCharacter(octets: Buffer, at: number, coding: 0 | 8): boolean {
  return coding === 0 ? octets[at - 1] === ESCAPE : ((octets[at - 2] ?? 0) & 0xfc) === 0xd8
}
