/** Flows by the hash of their content: of the line as it is, brought by a transcript, kept in a data folder, or approved. */
import { canonicalText, flowContent } from '../flow/content.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import { loadFlows } from '../flow/load.ts'
import { problemText } from '../flow/problem.ts'
import { sha256 } from '../runtime/system-clock.ts'
import { editionArchive, type FlowsKept } from './edition-archive.ts'
import { ownReadings } from './kept-readings.ts'
import type { LoadedLine } from './load-line.ts'

export interface ShelvedFlows {
  readonly set: FlowSet
  readonly hashes: ReadonlyMap<string, string>
}

export interface FlowShelf {
  /** The set in which the flow of a concern has exactly this content. */
  of(concern: string, hash: string | undefined): ShelvedFlows | undefined
  /** Puts flows on the shelf that a transcript brings; a second time: nothing. What is wrong with them, where it is. */
  bring(id: string, kept: FlowsKept): string | undefined
}

/** @param change  what is done to every set before it is used, such as another kernel */
export function flowShelf(
  { loaded, data }: { readonly loaded: LoadedLine | undefined; readonly data?: string },
  change: (set: FlowSet) => FlowSet = set => set,
): FlowShelf {
  const shelved: ShelvedFlows[] = []
  const brought = new Set<string>()
  const archive = data === undefined ? undefined : editionArchive(data)
  if (loaded !== undefined)
    shelved.push({ set: change(loaded.line.flows), hashes: loaded.line.hashes ?? hashesOf(loaded.line.flows, {}) })

  function bring(id: string, kept: FlowsKept): string | undefined {
    if (brought.has(id)) return undefined
    brought.add(id)
    const read = flowsFrom(kept)
    if ('wrong' in read) return read.wrong
    shelved.push({ set: change(read.set), hashes: hashesOf(read.set, kept.drawings) })
    return undefined
  }

  const found = (concern: string, hash: string | undefined) =>
    hash === undefined
      ? shelved.find(({ set }) => set.flows.has(concern))
      : shelved.find(({ hashes }) => hashes.get(concern) === hash)

  return {
    of(concern, hash) {
      const here = found(concern, hash)
      if (here !== undefined || archive === undefined) return here
      const note = archive.notes.find(({ hashes }) => hashes[concern] === hash)
      const kept = note === undefined ? undefined : archive.flows(note.flows)
      if (note === undefined || kept === undefined) return undefined
      bring(note.flows, kept)
      return found(concern, hash)
    },
    bring,
  }
}

/** Compiles flows from their sources. Their words were looked at when they were served. */
export function flowsFrom(kept: FlowsKept): { readonly set: FlowSet } | { readonly wrong: string } {
  const readings = ownReadings()
  const { set, problems } = loadFlows(new Map(Object.entries(kept.files)), readings.read, {}, () => ({
    problems: [],
    silenced: [],
  }))
  readings.keep()
  if (set !== undefined) return { set }
  const [first] = problems
  return { wrong: first === undefined ? 'the flows cannot be read' : problemText(first) }
}

/** Hash of each flow's content. @param drawings  SHA-256 of each drawing, by id */
export function hashesOf(set: FlowSet, drawings: Readonly<Record<string, string>>): ReadonlyMap<string, string> {
  const digest = (id: string) => (Object.hasOwn(drawings, id) ? drawings[id] : undefined)
  return new Map([...set.flows.keys()].map(id => [id, sha256(canonicalText(flowContent(set, id, digest)))]))
}
