import { createHash } from 'node:crypto'
import type { Instant } from '../time/instant.ts'

/** What goes into the audit trail. Nothing of a child: who did what at the clinic's side, on what. */
export const DEEDS = [
  'signed-in',
  'sign-in-failed',
  'signed-out',
  'session-ended',
  'invited',
  'invitation-withdrawn',
  'invitation-used',
  'password-set',
  'password-removed',
  'passkey-added',
  'passkey-removed',
  'identity-linked',
  'roles-changed',
  'telegram-code-made',
  'telegram-unlinked',
  'refused',
  'approved',
  'approval-withdrawn',
  'rolled-back',
  'clinic-file-changed',
  'audit-exported',
  'transcript-exported',
  'incident-gathered',
  'review-drawn',
  'review-scored',
  'review-flagged',
  'review-action',
  'review-action-ended',
] as const

export type Deed = (typeof DEEDS)[number]

export interface AuditAct {
  readonly at: Instant
  /** Id of a person, `machine` for somebody at a command line of the machine, or `nobody` where nobody was signed in. */
  readonly who: string
  readonly did: Deed
  /** What it was done to: a person's id, a part, a session's id, a page's path. Never a name, never a child's. */
  readonly on: string
  /** What it was before and is after: hashes, or lists of roles. */
  readonly before?: string
  readonly after?: string
}

export interface AuditLine extends AuditAct {
  /** From 1, without a gap. */
  readonly line: number
  /** Hash of the line before; of the first, {@link NO_LINE}. */
  readonly previous: string
  readonly hash: string
}

/** Where a trail ends: kept beside it, so that cutting lines off is seen. */
export type AuditHead = Pick<AuditLine, 'line' | 'hash'>

export const NO_LINE = '0'.repeat(64)

/** SHA-256 over every field in fixed order, the line before among them. */
function hashOf({ line, at, who, did, on, before, after, previous }: Omit<AuditLine, 'hash'>): string {
  const fields = [line, at, who, did, on, before ?? null, after ?? null, previous]
  return createHash('sha256').update(JSON.stringify(fields)).digest('hex')
}

/** The act as the line after `head`. */
export function nextLine(act: AuditAct, head: AuditHead | undefined): AuditLine {
  const { at, who, did, on, before, after } = act
  const line = {
    line: (head?.line ?? 0) + 1,
    at,
    who,
    did,
    on,
    ...(before === undefined ? {} : { before }),
    ...(after === undefined ? {} : { after }),
    previous: head?.hash ?? NO_LINE,
  }
  return { ...line, hash: hashOf(line) }
}

export interface AuditFault {
  /** Place among the lines that were given, from 1. */
  readonly place: number
  readonly kind: 'altered' | 'missing' | 'reordered' | 'chain-broken' | 'cut-off' | 'rewritten' | 'unreadable'
  /** One sentence: which line, what is wrong. */
  readonly found: string
}

/**
 * Everything about a trail that is not as it was written, each with its place; empty where nothing is.
 *
 * Whoever may write both the trail and its head can write a whole new one: that is seen only against a head that was
 * noted elsewhere, given as `head`.
 *
 * @param lines  as exported, each one parsed line
 * @param head   where the trail must end; left out: the end is not checked
 */
export function auditFaults(lines: readonly unknown[], head?: AuditHead): readonly AuditFault[] {
  const read = lines.map(lineOf)
  const numbers = new Set(read.flatMap(one => (one === undefined ? [] : [one.line])))
  const faults: AuditFault[] = []
  let before: AuditLine | undefined
  read.forEach((one, index) => {
    const place = index + 1
    if (one === undefined) {
      faults.push({ place, kind: 'unreadable', found: `line ${place} is no line of an audit trail` })
      before = undefined
      return
    }
    const expected = before === undefined ? place : before.line + 1
    if (one.line !== expected) faults.push(outOfPlace(one.line, expected, place, numbers.has(expected)))
    if (hashOf(one) !== one.hash)
      faults.push({ place, kind: 'altered', found: `line ${one.line} is not as it was written` })
    const chained = one.line === 1 ? NO_LINE : one.line === expected ? before?.hash : undefined
    if (chained !== undefined && one.previous !== chained)
      faults.push({ place, kind: 'chain-broken', found: `line ${one.line} does not follow from ${behind(one.line)}` })
    before = one
  })
  const end = head === undefined ? undefined : endFault(read.at(-1), head, lines.length)
  return end === undefined ? faults : [...faults, end]
}

const behind = (line: number): string =>
  line === 1
    ? 'nothing: it is not the first that was written'
    : `the line ${line - 1} that stands here: that one was put in another's place`

function outOfPlace(line: number, expected: number, place: number, isElsewhere: boolean): AuditFault {
  if (isElsewhere || line < expected)
    return { place, kind: 'reordered', found: `line ${line} stands where line ${expected} belongs` }
  const lacking = line - expected === 1 ? `line ${expected} is missing` : `lines ${expected} to ${line - 1} are missing`
  return { place, kind: 'missing', found: `${lacking} before line ${line}` }
}

function endFault(last: AuditLine | undefined, head: AuditHead, count: number): AuditFault | undefined {
  const end = last?.line ?? 0
  if (end < head.line) {
    const lacking =
      head.line - end === 1 ? `line ${head.line} is missing` : `lines ${end + 1} to ${head.line} are missing`
    return { place: count, kind: 'cut-off', found: `${lacking} at the end: the trail was cut off after line ${end}` }
  }
  if (end > head.line) return undefined
  if (last === undefined || last.hash === head.hash) return undefined
  return { place: count, kind: 'rewritten', found: `line ${end} is not the one that the trail ended with` }
}

/** A parsed line with the fields of one; undefined for anything else. */
function lineOf(found: unknown): AuditLine | undefined {
  if (typeof found !== 'object' || found === null) return undefined
  const { line, at, who, did, on, before, after, previous, hash } = found as Readonly<Record<string, unknown>>
  const isText = (one: unknown) => typeof one === 'string'
  const isWhole =
    Number.isSafeInteger(line) &&
    Number.isSafeInteger(at) &&
    [who, did, on, previous, hash].every(isText) &&
    [before, after].every(one => one === undefined || isText(one))
  return isWhole ? (found as AuditLine) : undefined
}
