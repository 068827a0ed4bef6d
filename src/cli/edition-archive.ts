/**
 * What the line decided with, kept in the data folder each time it begins or changes: flows by their hash, and clinic and settings as
 * a transcript has them. Without it a case of last year could not be replayed once the clinic's files have changed. No private
 * number is in it.
 */
import { appendFileSync, existsSync, mkdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { writeWhole } from '../config/clinic-save.ts'
import { canonicalText } from '../flow/content.ts'
import type { FlowFiles } from '../flow/load.ts'
import { type Edition, editionOf } from '../replay/edition.ts'
import { KEEPS_ALL } from '../replay/names.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'
import { drawingOf, type LoadedLine } from './load-line.ts'

/** Sources of a set of flows, as a transcript brings them. */
export interface FlowsKept {
  readonly files: Readonly<Record<string, string>>
  /** SHA-256 of each drawing, by id. */
  readonly drawings: Readonly<Record<string, string>>
}

/** From `at` on the line decided with these. */
export interface EditionNote {
  readonly at: Instant
  readonly edition: string
  readonly flows: string
  /** Hash of each flow, by concern. */
  readonly hashes: Readonly<Record<string, string>>
}

export interface EditionArchive {
  /** In order of time. */
  readonly notes: readonly EditionNote[]
  edition(hash: string): Edition | undefined
  flows(hash: string): FlowsKept | undefined
}

const folderIn = (data: string): string => join(data, 'editions')
const logIn = (data: string): string => join(folderIn(data), 'log.jsonl')
const fileOf = (data: string, what: 'edition' | 'flows', hash: string): string =>
  join(folderIn(data), `${what}-${hash}.json`)

/** Files that decide something, or that a reply is worded with, and the one that no set of flows is read without. */
const DECIDES = /^(?:shared\/(?:facts|tags|steps|lint)|[^/]+\/(?:flow|sources|wording\.[a-z]{2}(?:-[A-Z]{2})?))\.yaml$/

/** The sources of the flows that a line was read from. */
export function flowsKept(files: FlowFiles): FlowsKept {
  const kept = [...files].filter(([path]) => DECIDES.test(path)).toSorted(([a], [b]) => (a < b ? -1 : 1))
  const drawn = [...new Set(kept.flatMap(([, text]) => [...text.matchAll(DRAWN)].flatMap(([, id]) => id ?? [])))]
  const ids = new Set([...drawn, ...valuesDrawn(kept), 'unsure'])
  const digests = [...ids].flatMap(id => {
    const drawing = drawingOf(id)
    return drawing === undefined ? [] : [[id, sha256(drawing)] as const]
  })
  return { files: Object.fromEntries(kept), drawings: Object.fromEntries(digests.toSorted()) }
}

const DRAWN = /\bdrawing: *([a-z0-9-]+)/g

/** Any word of the facts may be the id of a drawing: values of a fact that is drawn are. */
const valuesDrawn = (files: readonly (readonly [path: string, text: string])[]): readonly string[] =>
  files.flatMap(([path, text]) => (path === 'shared/facts.yaml' ? (text.match(/[a-z][a-z0-9-]+/g) ?? []) : []))

/** Notes what the line decides with from `at` on; writes only what is not there yet. */
export function keepEdition(data: string, { line, files }: Pick<LoadedLine, 'line' | 'files'>, at: Instant): void {
  mkdirSync(folderIn(data), { recursive: true, mode: 0o700 })
  const edition = kept(data, 'edition', editionOf(line, KEEPS_ALL))
  const flows = files === undefined ? '' : kept(data, 'flows', flowsKept(files))
  const hashes = Object.fromEntries(line.hashes ?? [])
  const last = notesIn(data).at(-1)
  if (last?.edition === edition && last.flows === flows && canonicalText(last.hashes) === canonicalText(hashes)) return
  const note: EditionNote = { at, edition, flows, hashes }
  appendFileSync(logIn(data), `${JSON.stringify(note)}\n`, { mode: 0o600 })
}

function kept(data: string, what: 'edition' | 'flows', content: object): string {
  const text = canonicalText(content)
  const hash = sha256(text)
  const file = fileOf(data, what, hash)
  if (!existsSync(file)) writeWhole(file, text)
  return hash
}

/** A line that a power cut tore is passed over. */
function notesIn(data: string): readonly EditionNote[] {
  const file = logIn(data)
  if (!existsSync(file)) return []
  return readFileSync(file, 'utf8')
    .split('\n')
    .flatMap(text => {
      try {
        return text === '' ? [] : [JSON.parse(text) as EditionNote]
      } catch {
        return []
      }
    })
}

export function editionArchive(data: string): EditionArchive {
  const read = (what: 'edition' | 'flows', hash: string): string | undefined => {
    const file = fileOf(data, what, hash)
    const text = /^[0-9a-f]{64}$/.test(hash) && existsSync(file) ? readFileSync(file, 'utf8') : undefined
    return text !== undefined && sha256(text) === hash ? text : undefined
  }
  const parsed = <T>(text: string | undefined): T | undefined =>
    text === undefined ? undefined : (JSON.parse(text) as T)
  return {
    notes: notesIn(data).toSorted((a, b) => a.at - b.at),
    edition: hash => parsed<Edition>(read('edition', hash)),
    flows: hash => parsed<FlowsKept>(read('flows', hash)),
  }
}
