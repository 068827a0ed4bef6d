/** Conversations that go differently, in the words of the clinic's people. */
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import type { ConversationSaid, DifferentRow, DifferentSaid, SaidLine } from '../http/console/flows-page.ts'
import { instant } from '../time/instant.ts'
import type { CameTo, WentDifferently } from './conversations-changed.ts'
import type { ConversationsState } from './conversations-side.ts'

interface Saying {
  readonly wording: Wording
  readonly line: Line
}

/** Shown on one page, at most: the command has them all. */
const SHOWN_MOST = 60

export function differentSaid(state: ConversationsState, saying: Saying): DifferentSaid {
  const { wording } = saying
  if (state.kind !== 'found') return { says: [wording(`flows-different-${state.kind}`)], rows: [], isUnderWay: true }
  const { found } = state
  if (found.kind === 'not-compared') return { says: [wording(`flows-different-${found.why}`)], rows: [] }
  const { tried, differing, onlyWords, unreadable } = found
  const says = [
    wording('flows-different-tried', { count: tried }),
    wording('flows-different-count', {
      count: differing.length,
      lowered: differing.filter(one => one.isLowered).length,
    }),
    ...(onlyWords === 0 ? [] : [wording('flows-different-words', { count: onlyWords })]),
    ...(unreadable.length === 0 ? [] : [wording('flows-different-unreadable', { label: unreadable.join(', ') })]),
    ...(differing.length > SHOWN_MOST ? [wording('flows-different-more', { count: SHOWN_MOST })] : []),
    wording('flows-different-limits'),
  ]
  return { says, rows: differing.slice(0, SHOWN_MOST).map(one => rowOf(one, saying)) }
}

/** Both conversations of one situation; undefined where it is not among those that go differently. */
export function conversationSaid(
  state: ConversationsState,
  situation: string,
  { id, ...saying }: Saying & { readonly id: string },
): ConversationSaid | undefined {
  if (state.kind !== 'found' || state.found.kind !== 'compared') return undefined
  const one = state.found.differing.find(each => each.id === situation)
  if (one === undefined) return undefined
  const { before, after } = one
  return {
    ...rowOf(one, saying),
    part: id,
    wasLines: linesOf(before, after),
    isLines: linesOf(after, before),
  }
}

function rowOf({ id, title, isLowered, before, after }: WentDifferently, saying: Saying): DifferentRow {
  return { id, title, isLowered, was: cameToSaid(before, after, saying), is: cameToSaid(after, before, saying) }
}

/** What it came to: the decision always, everything else where the other has it otherwise. */
function cameToSaid(own: CameTo, other: CameTo, { wording, line }: Saying): readonly string[] {
  const missing = own.advised.filter(tag => !other.advised.includes(tag))
  const acts = missing.map(tag => line.flows.tags[tag]?.means ?? tag)
  return [
    own.decided === null ? wording('flows-different-nothing') : wording(`clinic-disposition-${own.decided}`),
    wording(own.pages ? 'flows-different-pages' : 'flows-different-no-page'),
    ...(own.leaveBy === other.leaveBy ? [] : [leaveText(own.leaveBy, wording, line)]),
    ...(acts.length === 0 ? [] : [wording('flows-different-told', { label: acts.join('; ') })]),
    ...(own.questions === other.questions ? [] : [wording('flows-different-asked', { count: own.questions })]),
  ]
}

const leaveText = (leaveBy: number | null, wording: Wording, line: Line): string =>
  leaveBy === null
    ? wording('flows-different-no-leave')
    : wording('flows-different-leave', { now: clockOf(line, instant(leaveBy)) })

function linesOf(own: CameTo, other: CameTo): readonly SaidLine[] {
  const others = new Set(other.conversation)
  return own.conversation.flatMap(line => {
    const isFamily = line.startsWith('> ')
    const text = (isFamily ? line.slice(2) : line).trim()
    return text === '' ? [] : [{ text, isFamily, isOwn: !others.has(line) }]
  })
}
