import type { DISPOSITIONS } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'
import { type Agreement, agreementOf, tableOf } from './agreement.ts'
import type { Rubric } from './rubric.ts'
import { type Judged, type TriageFigures, triageFigures } from './triage.ts'

type Disposition = (typeof DISPOSITIONS)[number]

export const ITEM_ANSWERS = ['yes', 'no', 'not-applicable'] as const
export type ItemAnswer = (typeof ITEM_ANSWERS)[number]

/** What one reviewer says of one case. Never changed: whoever thinks again says so in the note of another case's talk. */
export interface Score {
  readonly caseId: string
  /** Id of the person. */
  readonly reviewer: string
  readonly at: Instant
  /** Version of the rubric. */
  readonly rubric: number
  readonly answers: Readonly<Record<string, ItemAnswer>>
  readonly safe: boolean
  /** What the reviewer would have decided. */
  readonly should: Disposition
  readonly note?: string
}

/** Where the review of a case stands. */
export type Standing =
  /** Nobody, or one, has scored it. */
  | { readonly kind: 'waits'; readonly scores: 0 | 1 }
  /** Two say the same of safety and of the disposition. */
  | { readonly kind: 'agreed'; readonly verdict: Verdict }
  /** Two differ: a third decides. */
  | { readonly kind: 'conflict'; readonly about: readonly ('safe' | 'should')[] }
  | { readonly kind: 'settled'; readonly verdict: Verdict }

export type Verdict = Pick<Score, 'safe' | 'should'>

/** @param scores  of one case, in the order they came in */
export function standingOf(scores: readonly Score[]): Standing {
  const [first, second, third] = scores
  if (first === undefined) return { kind: 'waits', scores: 0 }
  if (second === undefined) return { kind: 'waits', scores: 1 }
  const about = (['safe', 'should'] as const).filter(each => first[each] !== second[each])
  if (about.length === 0) return { kind: 'agreed', verdict: { safe: first.safe, should: first.should } }
  if (third === undefined) return { kind: 'conflict', about }
  return { kind: 'settled', verdict: { safe: third.safe, should: third.should } }
}

/** Why somebody may not score a case now; undefined where they may. */
export function mayNotScore(scores: readonly Score[], reviewer: string): 'own' | 'done' | undefined {
  if (scores.some(score => score.reviewer === reviewer)) return 'own'
  const { kind } = standingOf(scores)
  return kind === 'agreed' || kind === 'settled' ? 'done' : undefined
}

/**
 * The scores that somebody may read: their own at once, everybody's once the case waits for no more. Whoever has a case still
 * to score, a third for a conflict too, sees none of the others'.
 */
export function scoresFor(scores: readonly Score[], reviewer: string): readonly Score[] {
  const { kind } = standingOf(scores)
  const isDone = kind === 'agreed' || kind === 'settled'
  const isIn = scores.some(score => score.reviewer === reviewer)
  return isDone || (kind === 'conflict' && isIn) ? scores : scores.filter(score => score.reviewer === reviewer)
}

/** What is wrong with a score that was filled in: one sentence each, naming the item. */
export function scoreFaults(rubric: Rubric, answers: Readonly<Record<string, string | undefined>>): readonly string[] {
  const known = new Set(rubric.items.map(({ id }) => id))
  const strays = Object.keys(answers).filter(id => !known.has(id))
  return [
    ...strays.map(id => `${id} is no item of the rubric`),
    ...rubric.items.flatMap(item => {
      const answer = answers[item.id]
      if (answer === undefined || answer === '') return [`${item.id} is not answered`]
      if (!(ITEM_ANSWERS as readonly string[]).includes(answer))
        return [`${item.id} says "${answer.slice(0, 40)}"; one of ${ITEM_ANSWERS.join(', ')} was expected`]
      if (answer === 'not-applicable' && !item['may-not-apply'])
        return [`${item.id} applies to every case: yes or no was expected`]
      return []
    }),
  ]
}

export interface ItemAgreement extends Agreement {
  readonly id: string
  /** Pairs in which one of the two said that it does not apply. */
  readonly apart: number
}

export interface ReviewFigures {
  readonly scored: number
  readonly conflicts: number
  /** Of those whose verdict stands. */
  readonly unsafe: number
  readonly verdicts: number
  readonly safety: Agreement
  readonly items: readonly ItemAgreement[]
  readonly triage: TriageFigures
}

/**
 * What the reviews say together. Agreement is that of the first two of each case; a third decides and is no part of it.
 *
 * @param decided  the line's decision of a case; undefined where none was said, which leaves it out of triage
 */
export function reviewFigures(
  rubric: Rubric,
  cases: ReadonlyMap<string, readonly Score[]>,
  decided: (caseId: string) => Disposition | undefined,
): ReviewFigures {
  const pairs = [...cases.values()].flatMap(([first, second]) =>
    first === undefined || second === undefined ? [] : [[first, second] as const],
  )
  const standings = [...cases].map(([caseId, scores]) => ({ caseId, standing: standingOf(scores) }))
  const verdicts = standings.flatMap(({ caseId, standing }) =>
    standing.kind === 'agreed' || standing.kind === 'settled' ? [{ caseId, ...standing.verdict }] : [],
  )
  const judged = verdicts.flatMap(({ caseId, should }): Judged[] => {
    const own = decided(caseId)
    return own === undefined ? [] : [{ decided: own, should }]
  })
  return {
    scored: [...cases.values()].filter(scores => scores.length > 0).length,
    conflicts: standings.filter(({ standing }) => standing.kind === 'conflict' || standing.kind === 'settled').length,
    unsafe: verdicts.filter(({ safe }) => !safe).length,
    verdicts: verdicts.length,
    safety: agreementOf(tableOf(pairs.map(([first, second]) => [first.safe, second.safe]))),
    items: rubric.items.map(({ id }) => itemAgreement(id, pairs)),
    triage: triageFigures(judged),
  }
}

function itemAgreement(id: string, pairs: readonly (readonly [Score, Score])[]): ItemAgreement {
  const both = pairs.map(([first, second]) => [first.answers[id], second.answers[id]] as const)
  const answered = both.filter(pair => pair.every(answer => answer === 'yes' || answer === 'no'))
  const apart = both.filter(pair => pair.filter(answer => answer === 'not-applicable').length === 1).length
  return { id, apart, ...agreementOf(tableOf(answered.map(([first, second]) => [first === 'yes', second === 'yes']))) }
}
