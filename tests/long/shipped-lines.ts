import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { parse } from 'yaml'
import { root } from './server-process.ts'

/** Lines of the shipped wording that tell what a reply does: of each the longest piece without a placeholder. */
export interface ShippedLines {
  /** Stands in the first reply of every case. */
  readonly begins: string
  /** Each is said where "a clinician must speak to the family" or more is decided, and pages somebody. */
  readonly decides: readonly string[]
  /** Of these, the first reply to "the tube is out" holds one at least. */
  readonly holding: readonly string[]
}

export function shippedLines(): ShippedLines {
  const wording = new Map(
    ['flows/shared/wording.en.yaml', 'flows/tube-out/wording.en.yaml']
      .map(file => parse(readFileSync(join(root, file), 'utf8')) as Record<string, string>)
      .flatMap(Object.entries<string>),
  )
  const line = (id: string): string => {
    const pieces = wording.get(`say/${id}`)?.split(/\{[^{}]*\}/) ?? []
    const longest = pieces.toSorted((a, b) => b.length - a.length)[0]?.trim() ?? ''
    if (longest.length < 12) throw new Error(`"say/${id}" has no fixed piece to find it by in the wording`)
    return longest
  }
  return {
    begins: line('bot-here'),
    decides: [
      'will-go',
      'nasal-hold',
      'clinician-confirms',
      'person-wanted',
      'silence-paged',
      'ring-emergency',
      'ring-emergency-steroid',
      'ring-if-unsure',
    ].map(line),
    holding: ['cover-opening', 'cover-if-empty', 'leave-in-place', 'leave-if-in'].map(line),
  }
}
