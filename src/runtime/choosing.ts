import type { Effect } from '../case/effect.ts'
import type { Incoming } from '../case/message.ts'
import type { StoredCase, StoredEvent } from '../store/store.ts'
import type { RunningCase } from './machine.ts'

/** An open case of a chat with its state; undefined where it cannot be read or is parked. */
export interface OpenCase {
  readonly stored: StoredCase
  readonly state: RunningCase | undefined
}

export interface Chosen {
  readonly case: OpenCase
  /** The message cannot be given to one child with certainty: nothing in it may count as an answer. */
  readonly doubtful: boolean
}

/**
 * Which of a chat's open cases a message belongs to; facts of two children are never mixed.
 *
 * A tap goes to the case that asked the question tapped. Words go to the one child whose nickname they name, else to the
 * one whose question was asked last. Where two cases asked a question of that number, or two nicknames are named, the
 * message goes to the case asked last as doubtful.
 *
 * @param open     at least one
 * @param history  events of a case, read only where a tap has to be told apart
 */
export async function chooseCase(
  open: readonly OpenCase[],
  body: Incoming['body'],
  history: (caseId: string) => Promise<readonly StoredEvent[]>,
): Promise<Chosen | undefined> {
  const last = [...open].sort((a, b) => askedAt(b) - askedAt(a))[0]
  if (last === undefined) return undefined
  if (open.length === 1) return { case: last, doubtful: false }
  if (body.kind === 'choice') {
    const askers: OpenCase[] = []
    for (const each of open) {
      if (asked(await history(each.stored.caseId), body.serial)) askers.push(each)
    }
    return only(askers) ?? { case: last, doubtful: true }
  }
  if (body.kind !== 'text') return { case: last, doubtful: false }
  const named = open.filter(each => names(body.text, each.state?.nickname))
  return only(named) ?? { case: last, doubtful: named.length > 1 }
}

function only(cases: readonly OpenCase[]): Chosen | undefined {
  const [first] = cases
  return first !== undefined && cases.length === 1 ? { case: first, doubtful: false } : undefined
}

/**
 * The case that asked a question of this number, of cases whose talk is over; undefined where none or several did.
 * @param history  events of a case
 */
export async function askerOf(
  over: readonly StoredCase[],
  serial: number,
  history: (caseId: string) => Promise<readonly StoredEvent[]>,
): Promise<StoredCase | undefined> {
  const askers: StoredCase[] = []
  for (const each of over) {
    if (asked(await history(each.caseId), serial)) askers.push(each)
  }
  return askers.length === 1 ? askers[0] : undefined
}

/** A case with no open question counts from when it last changed. */
function askedAt({ stored, state }: OpenCase): number {
  return state?.open?.askedAt ?? stored.changedAt - 0.5
}

function asked(history: readonly StoredEvent[], serial: number): boolean {
  return history.some(event =>
    effectsOf(event).some(
      effect =>
        effect.kind === 'reply' &&
        effect.parts.some(part => (part.kind === 'ask' || part.kind === 'read-back') && part.serial === serial),
    ),
  )
}

/** Whether the nickname stands in the text as words of its own, whatever its capitals or accents. */
export function names(text: string, nickname: string | undefined): boolean {
  const wanted = wordsOf(nickname ?? '')
  return wanted !== '' && ` ${wordsOf(text)} `.includes(` ${wanted} `)
}

const wordsOf = (text: string): string =>
  (
    text
      .slice(0, 4_000)
      .normalize('NFKD')
      .toLowerCase()
      .replace(/\p{M}/gu, '')
      .match(/[\p{L}\p{Nd}]+/gu) ?? []
  ).join(' ')

/** What a step put out; nothing where it cannot be read, so that one bad line does not keep a family from being heard. */
function effectsOf(event: StoredEvent): readonly Effect[] {
  try {
    return JSON.parse(event.effects) as readonly Effect[]
  } catch {
    return []
  }
}
