/** Cases of a data folder as a transcript: one case in memory at a time, gone on with where it was broken off. */
import { existsSync, rmSync } from 'node:fs'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent } from '../case/event.ts'
import { canonicalText } from '../flow/content.ts'
import { lineWriter } from '../replay/chain.ts'
import { type Edition, editionOf, renamed } from '../replay/edition.ts'
import { KEEPS_ALL, type Names } from '../replay/names.ts'
import { caseLines, type StoredSent } from '../replay/record.ts'
import { type Keepable, type NewLine, TRANSCRIPT_VERSION } from '../replay/transcript.ts'
import { codeIn } from '../runtime/parking.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { OutboxRow, Store, StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import { casesByName } from './cases-by-name.ts'
import { type EditionArchive, type FlowsKept, flowsKept } from './edition-archive.ts'
import type { LoadedLine } from './load-line.ts'
import { goneOn, partOf, wholeFile } from './transcript-file.ts'

export interface ExportPorts {
  readonly store: Pick<Store, 'load' | 'heads' | 'history' | 'outboxOf'>
  readonly archive: EditionArchive
  /** The line as its files say now: for what was decided before anything was kept in the archive. */
  readonly loaded: LoadedLine
  readonly names: Names
  readonly now: Instant
  readonly software: string
}

export interface ExportWish {
  readonly file: string
  readonly kept: readonly Keepable[]
  readonly purpose?: string
  readonly withFlows: boolean
  /** An earlier part is thrown away instead of gone on with. */
  readonly anew: boolean
  /** Spoken code or id of the cases wanted; empty: all that were opened in the time. */
  readonly cases: readonly string[]
  /** Inclusive. */
  readonly from: Instant
  /** Exclusive. */
  readonly until: Instant
  readonly progress: (done: number, of: number) => void
}

export interface Exported {
  readonly cases: number
  readonly steps: number
  /** Cases that were written by an earlier run. */
  readonly before: number
  /** Cases that could not be read, or hold no opening: erased meanwhile, or damaged. */
  readonly leftOut: number
  readonly chain: string
}

const PROGRESS_EVERY = 10_000

export async function exportTranscript(ports: ExportPorts, wish: ExportWish): Promise<Exported> {
  const { store, names, now } = ports
  if (wish.anew) rmSync(partOf(wish.file), { force: true })
  const gone = await goneOn(wish.file, now)
  const out = wholeFile(wish.file, gone?.bytes ?? 0)
  const writer = lineWriter(sha256, gone ?? undefined)
  const put = (line: NewLine) => out.write(`${writer.write(line)}\n`)
  const editions = editionsOf(ports)
  let { cases, steps } = gone ?? { cases: 0, steps: 0 }
  let leftOut = 0
  const wanted = casesByName()
  try {
    if (gone === undefined) {
      put({
        ...{ kind: 'transcript', version: TRANSCRIPT_VERSION, madeAt: now, software: ports.software },
        kept: [...wish.kept],
        ...(wish.purpose === undefined ? {} : { purpose: wish.purpose }),
      })
    }
    // Those of an earlier part are written once more: what was decided since may have changed.
    for (const { hash, content } of editions.all) put({ kind: 'edition', edition: hash, content: plain(content) })
    if (wish.withFlows) {
      for (const content of editions.flows)
        put({ kind: 'flows', flows: sha256(canonicalText(content)), content: plain(content) })
    }
    for await (const { caseId, changedAt } of store.heads()) {
      // When it was opened is seen when it is read; what has not changed since the time began was opened before.
      if (wish.cases.length > 0 || changedAt >= wish.from) wanted.add(names.case(caseId), caseId)
    }
    let seen = 0
    for (const caseId of wanted.after(gone?.lastCase ?? '')) {
      const lines = await linesOfCase(ports, editions, caseId, wish)
      if (lines === undefined) leftOut += 1
      else if (lines !== 'not-wanted') {
        for (const line of lines) put(line)
        cases += 1
        steps += lines.filter(({ kind }) => kind === 'step').length
      }
      seen += 1
      if (seen % PROGRESS_EVERY === 0) wish.progress((gone?.cases ?? 0) + seen, wanted.count)
    }
    put({ kind: 'end', cases, steps })
    out.finish()
  } catch (error) {
    // What is whole stands beside: the next run goes on from there.
    if (existsSync(partOf(wish.file))) out.pause()
    throw error
  } finally {
    wanted.close()
  }
  return { cases, steps, before: gone?.cases ?? 0, leftOut, chain: writer.chain }
}

const plain = <T extends object>(content: T) => JSON.parse(JSON.stringify(content))

interface Editions {
  /** Under the hash of what is written: with names taken out. */
  readonly all: readonly { readonly hash: string; readonly content: Edition }[]
  readonly flows: readonly FlowsKept[]
  /** Hash of the edition in force. */
  at(at: Instant): string
  /** Hash of the flow that a case of a concern was opened under. */
  flowAt(concern: string, at: Instant, stored: { concern?: unknown; flowHash?: unknown }): string | undefined
}

/** What was in force when; where nothing was noted, what the files say now. */
function editionsOf({ archive, loaded, names }: ExportPorts): Editions {
  const now = { content: renamed(editionOf(loaded.line, KEEPS_ALL), names) }
  const withHash = ({ content }: { content: Edition }) => ({ content, hash: sha256(canonicalText(plain(content))) })
  const current = withHash(now)
  const byNote = new Map<string, ReturnType<typeof withHash>>()
  for (const { edition } of archive.notes) {
    const found = byNote.has(edition) ? undefined : archive.edition(edition)
    if (found !== undefined) byNote.set(edition, withHash({ content: renamed(found, names) }))
  }
  const noteAt = (at: Instant) => archive.notes.findLast(note => note.at <= at) ?? archive.notes[0]
  const all = new Map([current, ...byNote.values()].map(one => [one.hash, one]))
  const kept = [...new Set(archive.notes.map(({ flows }) => flows))].flatMap(hash => archive.flows(hash) ?? [])
  return {
    all: [...all.values()],
    flows: kept.length > 0 ? kept : loaded.files === undefined ? [] : [flowsKept(loaded.files)],
    at: at => byNote.get(noteAt(at)?.edition ?? '')?.hash ?? current.hash,
    flowAt(concern, at, { concern: last, flowHash }) {
      if (last === concern && typeof flowHash === 'string') return flowHash
      // It has turned to another trouble since: the set in which the later flow is tells the first.
      const note = archive.notes.find(({ hashes }) => typeof last === 'string' && hashes[last] === flowHash)
      return (note ?? noteAt(at))?.hashes[concern] ?? loaded.line.hashes?.get(concern)
    },
  }
}

/** Lines of one case; undefined where it cannot be told. */
async function linesOfCase(
  { store, names }: ExportPorts,
  editions: Editions,
  caseId: string,
  wish: ExportWish,
): Promise<readonly NewLine[] | 'not-wanted' | undefined> {
  const stored = await store.load(caseId)
  if (stored === undefined) return undefined
  if (wish.cases.length > 0 && !wish.cases.some(which => which === caseId || which === codeIn(stored.state)))
    return 'not-wanted'
  const events = await store.history(caseId)
  const [first] = events
  if (first === undefined || events.length !== stored.seq) return undefined
  if (wish.cases.length === 0 && (first.at < wish.from || first.at >= wish.until)) return 'not-wanted'
  const state = stateIn(stored)
  const steps = events.map(({ seq, at, event, effects }) => ({
    seq,
    at,
    event: JSON.parse(event) as CaseEvent,
    effects: JSON.parse(effects) as readonly Effect[],
  }))
  const opening = steps[0]?.event
  const concern = opening?.kind === 'caseOpened' ? opening.concern : ''
  const flow = editions.flowAt(concern, first.at, state)
  const lines = caseLines(
    {
      ...stored.chat,
      closed: stored.closed,
      ...(flow === undefined ? {} : { flow }),
      ...(typeof state.code === 'string' ? { code: state.code } : {}),
      ...(typeof state.nickname === 'string' ? { nickname: state.nickname } : {}),
      steps,
      sent: (await store.outboxOf(caseId)).map(sentOf),
    },
    {
      names: { ...names, caseId },
      keepsNames: wish.kept.includes('names'),
      keepsTexts: wish.kept.length === 3,
      editionAt: editions.at,
    },
  )
  return lines.length === 0 ? undefined : lines
}

/** The state as stored, where it can be read: a parked case keeps its own inside. */
function stateIn({ state }: StoredCase): Readonly<Record<string, unknown>> {
  try {
    const read = JSON.parse(state) as { parked?: unknown; state?: unknown } & Record<string, unknown>
    return read.parked === undefined ? read : (JSON.parse(String(read.state ?? '{}')) as Record<string, unknown>)
  } catch {
    return {}
  }
}

/** `case.event.position`, and of a page `.address`. */
function sentOf(row: OutboxRow): StoredSent {
  const parts = row.effectId
    .slice(row.caseId.length + 1)
    .split('.')
    .map(Number)
  const [seq = row.seq, position = 0, address] = parts
  const { lane, status, tries, content, sentAt, reason } = row
  return {
    ...{ lane, status, tries, seq, position },
    ...(address === undefined ? {} : { address }),
    ...(sentAt === undefined ? {} : { at: sentAt }),
    ...(reason === undefined ? {} : { reason: reason.slice(0, 200) }),
    ...(content === undefined ? {} : { text: content }),
  }
}
