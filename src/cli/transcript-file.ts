/** Transcripts as files: read a line at a time, and written beside, to be put in place when whole. */
import {
  closeSync,
  createReadStream,
  existsSync,
  fsyncSync,
  ftruncateSync,
  lstatSync,
  openSync,
  renameSync,
  rmSync,
  writeSync,
} from 'node:fs'
import { createGunzip } from 'node:zlib'
import { canonicalText } from '../flow/content.ts'
import { LINE_MOST, type Read, type Reading, readingOf, type TranscriptFault } from '../replay/reading.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'

/** Text that is gathered before it is written. */
const GATHERED_BYTES = 1 << 20

/**
 * Lines of a file, without their line ends; `undefined` for one that is no UTF-8. A file whose name ends in `.gz` is unpacked.
 * Holds one line and one block in memory.
 */
export async function* linesOf(file: string): AsyncGenerator<string | undefined> {
  const raw = createReadStream(file)
  const stream = file.endsWith('.gz') ? raw.pipe(createGunzip()) : raw
  raw.on('error', error => stream.destroy(error))
  const decoder = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })
  let pieces: Buffer[] = []
  let length = 0
  const line = (): string | undefined => {
    const bytes = pieces.length === 1 ? (pieces[0] ?? Buffer.alloc(0)) : Buffer.concat(pieces)
    pieces = []
    length = 0
    try {
      return decoder.decode(bytes)
    } catch {
      return undefined
    }
  }
  for await (const block of stream as AsyncIterable<Buffer>) {
    let from = 0
    for (let end = block.indexOf(0x0a); end !== -1; end = block.indexOf(0x0a, from)) {
      pieces.push(block.subarray(from, end))
      yield line()
      from = end + 1
    }
    const rest = block.subarray(from)
    // Of a line without an end only so much is kept as shows that it is too long.
    if (rest.length > 0 && length <= LINE_MOST * 4) pieces.push(Buffer.from(rest))
    length += rest.length
  }
  if (length > 0) yield line()
}

/** A transcript as it is read: what is wrong, and each whole case. */
export interface Told extends Pick<Read, 'faults' | 'whole' | 'leftOut'> {
  readonly file: string
}

/** Reads files one after the other. A gzip that is broken, or a file that cannot be read, is a fault like a cut-off one. */
export async function* told(files: readonly string[], now: Instant, onReading?: (reading: Reading) => void) {
  for (const file of files) {
    const reading = readingOf({ hash: sha256, now, canonical: canonicalText })
    onReading?.(reading)
    let place = 0
    try {
      for await (const line of linesOf(file)) {
        place += 1
        const read = reading.take(line)
        if (read.faults.length > 0 || read.whole !== undefined || read.leftOut > 0) yield { file, reading, ...read }
        if (reading.isOver) break
      }
      yield { file, reading, ...reading.end() }
    } catch (error) {
      const found = error instanceof Error ? unreadableText(error) : 'it cannot be read'
      const fault: TranscriptFault = { place: place + 1, code: 'cut-off', found, ends: true }
      yield { file, reading, faults: [fault], leftOut: 0, whole: undefined }
    }
  }
}

/** zlib and the file system say it in words of their own. */
function unreadableText(error: Error): string {
  const { code } = error as NodeJS.ErrnoException
  if (code?.startsWith('Z_') === true)
    return `the packed file cannot be unpacked further (${error.message.slice(0, 100)}): it was cut off, is damaged, or is no .gz`
  return error.message.slice(0, 150)
}

/** A fault as it is printed: file, line, kind, what was found. */
export const faultText = (file: string, { place, code, found }: TranscriptFault): string =>
  `${file}:${place}: ${code}: ${found}`

/** An output that is whole or not there. */
export interface WholeFile {
  write(text: string): void
  /** Bytes written so far. */
  readonly bytes: number
  /** Puts it in place, on disk before it has its name. */
  finish(): void
  /** Leaves what was written beside, to be gone on with. */
  pause(): void
  /** Takes away what was written. */
  discard(): void
}

/** A file cannot be written. The message says why and what to do. */
export class OutputUnusable extends Error {
  override readonly name = 'OutputUnusable'
}

/** Where the part of a file lies until it is whole. */
export const partOf = (file: string): string => `${file}.part`

/**
 * @param keepBytes  bytes of an earlier part that are gone on from; left out: begun anew
 * @throws OutputUnusable where a file, folder or link of that name is there already
 */
export function wholeFile(file: string, keepBytes = 0): WholeFile {
  if (existsSync(file) || isLink(file))
    throw new OutputUnusable(`${file} is there already: name another file, or move it away first`)
  const part = partOf(file)
  if (isLink(part)) throw new OutputUnusable(`${part} is a link: remove it first`)
  const handle = openSync(part, keepBytes > 0 ? 'r+' : 'w', 0o600)
  if (keepBytes > 0) ftruncateSync(handle, keepBytes)
  let bytes = keepBytes
  let gathered: string[] = []
  let waiting = 0
  const flush = () => {
    const block = Buffer.from(gathered.join(''), 'utf8')
    for (let at = 0; at < block.length; ) at += writeSync(handle, block, at, block.length - at, bytes + at)
    bytes += block.length
    gathered = []
    waiting = 0
  }
  return {
    write(text) {
      gathered.push(text)
      waiting += text.length
      if (waiting >= GATHERED_BYTES) flush()
    },
    get bytes() {
      return bytes
    },
    finish() {
      flush()
      fsyncSync(handle)
      closeSync(handle)
      // Looked at again: another may have written it meanwhile.
      if (existsSync(file))
        throw new OutputUnusable(`${file} came to be there meanwhile: what was written stands in ${part}`)
      renameSync(part, file)
    },
    pause() {
      flush()
      closeSync(handle)
    },
    discard() {
      closeSync(handle)
      rmSync(part, { force: true })
    },
  }
}

function isLink(file: string): boolean {
  try {
    return lstatSync(file).isSymbolicLink()
  } catch {
    return false
  }
}

/** How far an earlier part is whole: its bytes and chain after the last whole case, and that case's name. */
export interface Gone {
  readonly bytes: number
  readonly lines: number
  readonly chain: string
  readonly cases: number
  readonly steps: number
  readonly lastCase: string | undefined
}

/** Looks through the part of an export that was broken off; undefined where there is none, or nothing of it is whole. */
export async function goneOn(file: string, now: Instant): Promise<Gone | undefined> {
  const part = partOf(file)
  if (!existsSync(part)) return undefined
  const reading = readingOf({ hash: sha256, now, canonical: canonicalText })
  let bytes = 0
  let lines = 0
  let gone: Gone | undefined
  let counted = { cases: 0, steps: 0 }
  for await (const line of linesOf(part)) {
    const before = { bytes, lines, chain: reading.chain }
    const { faults, whole } = reading.take(line)
    if (faults.length > 0 || line === undefined) break
    // A case is whole when the line after it was read: the part ends before that line.
    if (whole !== undefined) {
      counted = { cases: counted.cases + 1, steps: counted.steps + whole.steps.length }
      gone = { ...before, ...counted, lastCase: whole.head.case }
    }
    bytes += Buffer.byteLength(line) + 1
    lines += 1
  }
  return gone
}
