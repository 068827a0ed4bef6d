/** Where a clinician can ring the family. */
import { numberGiven } from './answer.ts'
import { tellHolder } from './callout.ts'
import type { CaseEvent, InLanguage } from './event.ts'
import type { CaseState } from './state.ts'
import { saying, type Work } from './work.ts'

/** The fact of it. */
export const RING_BACK = 'ring-back'

const WRITE_ONLY = 'write-only'

/** Where to ring, written beside something else: kept where no number is on record, since it may be somebody else's. */
export function hearNumber(work: Work, event: CaseEvent & InLanguage): void {
  const isAnswer = event.kind === 'answerGiven' && event.fact === RING_BACK
  if (event.phone === undefined || isAnswer || isKnown(work) || work.line.flows.facts[RING_BACK] === undefined) return
  keep(work, event.phone, 'said' in event ? (event.said ?? '') : '')
}

/** Whether the number of the message is now the one on record, and was not before. */
export function isNumberTaken(before: CaseState, { state }: Work, { phone }: InLanguage): boolean {
  return phone !== undefined && numberIn(before) !== phone && numberIn(state) === phone
}

/** A number and nothing else: the one to ring from here on, read back by its last digits. Whoever has the case is told. */
export function numberSaid(work: Work, number: string, said: string): void {
  const isChanged = isKnown(work)
  keep(work, number, said)
  readBackNumber(work)
  if (isChanged) tellHolder(work)
}

export function readBackNumber(work: Work): void {
  const answer = work.state.answers[RING_BACK]?.answer
  if (answer !== undefined) saying(work, { kind: 'noted', fact: RING_BACK, answer })
}

const isKnown = ({ state }: Work): boolean => numberIn(state) !== undefined

function numberIn({ answers }: Pick<CaseState, 'answers'>): string | undefined {
  const record = answers[RING_BACK]
  return record === undefined ? undefined : numberGiven(record.answer).phone
}

function keep(work: Work, number: string, said: string): void {
  const record = { answer: { kind: 'phone', number } as const, said, at: work.at, changed: isKnown(work), given: true }
  work.state.answers = { ...work.state.answers, [RING_BACK]: record }
  work.state.marks = work.state.marks.filter(mark => mark !== WRITE_ONLY)
}
