/** `smallhours approve PART --conversations`: which conversations would now go differently, on a terminal or as a document. */
import type { Instant } from '../time/instant.ts'
import { approvedLine } from './approved-line.ts'
import type { ApprovedSince } from './approved-since.ts'
import { complain, print } from './command.ts'
import {
  type CameTo,
  type ConversationsChanged,
  conversationsChanged,
  situationsAbout,
} from './conversations-changed.ts'
import type { ReadLine } from './load-line.ts'

/** Why nothing is held against anything. */
export type NotCompared =
  /** Nothing of the part was approved before. */
  | 'never-approved'
  /** The files of the approved content were not kept. */
  | 'not-kept'
  /** They fit what stands beside them in no way. */
  | 'does-not-fit'
  /** The files as they stand have faults. */
  | 'faults'

export type ConversationsFound =
  | ({ readonly kind: 'compared'; readonly approved: string } & ConversationsChanged)
  | { readonly kind: 'not-compared'; readonly why: NotCompared }

export interface ConversationsAsked {
  readonly clinicDir: string
  readonly flowsDir: string | undefined
  readonly read: ReadLine
  readonly part: string
  readonly since: ApprovedSince | undefined
  readonly at: Instant
}

export async function tellConversations(asked: ConversationsAsked, isJson: boolean): Promise<number> {
  const found = await foundOf(asked)
  if (isJson) print(JSON.stringify(found))
  else {
    const { lines, end } = conversationsText(found, asked.part)
    for (const line of lines) print(line)
    complain(end)
  }
  return found.kind === 'compared' ? 0 : 1
}

async function foundOf({
  clinicDir,
  flowsDir,
  read,
  part,
  since,
  at,
}: ConversationsAsked): Promise<ConversationsFound> {
  const { loaded } = read
  if (loaded === undefined) return { kind: 'not-compared', why: 'faults' }
  if (since === undefined) return { kind: 'not-compared', why: 'never-approved' }
  const before = approvedLine({ clinicDir, part, at, ...(flowsDir === undefined ? {} : { flowsDir }) }, since.hash)
  if ('why' in before) return { kind: 'not-compared', why: before.why }
  const { situations, unreadable } = situationsAbout(part, clinicDir, before, loaded)
  const changed = await conversationsChanged(before, loaded, situations, unreadable)
  return { kind: 'compared', approved: since.hash, ...changed }
}

const WHY: Readonly<Record<NotCompared, string>> = {
  'never-approved': 'nothing of it was approved before',
  'not-kept': 'the files of what was approved were not kept',
  'does-not-fit': 'the files of what was approved do not fit what stands beside them now',
  faults: 'the files as they stand have faults: "smallhours clinic" names each',
}

/** For a terminal: each situation that goes differently, and a last line with how many. */
export function conversationsText(found: ConversationsFound, part: string): { lines: readonly string[]; end: string } {
  if (found.kind === 'not-compared')
    return { lines: [], end: `${part}: no conversations to hold side by side, since ${WHY[found.why]}` }
  const lines = found.differing.map(
    ({ id, title, before, after, isLowered }) =>
      `${isLowered ? 'LOWERED  ' : 'different'} ${id}: ${title}\n    was: ${lineOf(before)}\n    is:  ${lineOf(after)}`,
  )
  const lowered = found.differing.filter(one => one.isLowered).length
  const unreadable = found.unreadable.length === 0 ? '' : `; not readable by both: ${found.unreadable.join(', ')}`
  const end = `${lines.length} of ${found.tried} situations go differently, ${lowered} lowered; ${found.onlyWords} more in words only${unreadable}`
  return { lines, end }
}

function lineOf({ decided, advised, pages, leaveBy, questions }: CameTo): string {
  const leave = leaveBy === null ? '' : `, leave by ${new Date(leaveBy).toISOString()}`
  return `${decided ?? 'nothing decided'}, ${pages ? 'pages' : 'no page'}${leave}, ${questions} questions, ${advised.join(' ')}`
}
