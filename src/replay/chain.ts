/** The chain that ties each line of a transcript to all before it, worked out over the very characters that are written. */
import type { NewLine } from './transcript.ts'

/** SHA-256 of a text, as 64 hexadecimal digits; passed in, since what decides uses no cryptography of its own. */
export type Hash = (text: string) => string

/** What the first line follows. */
export const NO_CHAIN = '0'.repeat(64)

const END = /^,"chain":"([0-9a-f]{64})"\}$/
const END_LENGTH = ',"chain":""}'.length + 64

/** A line's text taken apart: what the chain is over, and the chain; undefined where it ends with none. */
export function chainIn(text: string): { readonly body: string; readonly chain: string } | undefined {
  const chain = END.exec(text.slice(-END_LENGTH))?.[1]
  return chain === undefined ? undefined : { body: `${text.slice(0, -END_LENGTH)}}`, chain }
}

export const chainOf = (before: string, body: string, hash: Hash): string => hash(`${before}\n${body}`)

/** Writes lines one after the other: gives each its number and its chain. */
export interface LineWriter {
  /** The text of the next line, without its line end. */
  write(line: NewLine): string
  /** How many lines were written. */
  readonly lines: number
  readonly chain: string
}

/** @param from  where a file that is gone on with stands */
export function lineWriter(hash: Hash, from: { lines: number; chain: string } = { lines: 0, chain: NO_CHAIN }) {
  let { lines, chain } = from
  const writer: LineWriter = {
    write(line) {
      lines += 1
      const body = JSON.stringify({ line: lines, ...line })
      chain = chainOf(chain, body, hash)
      return `${body.slice(0, -1)},"chain":"${chain}"}`
    },
    get lines() {
      return lines
    },
    get chain() {
      return chain
    },
  }
  return writer
}
