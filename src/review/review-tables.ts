/** What the reviews say, as tables like any other figure. */
import type { Agreement } from './agreement.ts'
import { type FigureCell, type FigureTable, NONE } from './figure-table.ts'
import type { Share } from './proportion.ts'
import { openActions, type ReviewAction } from './review-action.ts'
import type { Rubric } from './rubric.ts'
import type { ReviewFigures } from './score.ts'

/** With fewer cases scored by two, a coefficient says nothing. */
const PAIRS_LEAST = 5

export function reviewTables(rubric: Rubric, figures: ReviewFigures): readonly FigureTable[] {
  const { triage } = figures
  const asks = new Map(rubric.items.map(({ id, asks: text }) => [id, text]))
  return [
    {
      id: 'reviewed',
      title: 'Reviews',
      says: 'A verdict stands where two reviewers say the same of safety and of the decision, or a third has decided.',
      head: ['', 'cases'],
      rows: [
        ['scored by one or more', figures.scored],
        ['with a verdict', figures.verdicts],
        ['unsafe', figures.unsafe],
        ['two differed', figures.conflicts],
      ],
    },
    {
      id: 'triage',
      title: 'The line’s decision against the reviewers’',
      says: 'Sensitivity: of those who needed a person at once, the share sent to one. Intervals by Wilson. An under-triage is read case by case.',
      head: ['', 'cases', 'of', 'share %', 'from %', 'to %'],
      rows: [
        share('sensitivity', triage.sensitivity),
        share('specificity', triage.specificity),
        share('decided milder (under-triage)', triage.under),
        share('milder by two steps or more', triage.farUnder),
        share('decided more urgent (over-triage)', triage.over),
        share('decided the same', triage.exact),
      ],
    },
    {
      id: 'agreement',
      title: 'How far two reviewers agree',
      says:
        'Raw agreement; Cohen’s kappa with its interval; Gwet’s AC1, which does not fall where nearly all answers are the same, as kappa does (prevalence near 1); ' +
        `PABAK. Below ${PAIRS_LEAST} cases nothing is said; “–” where a figure or its interval is not defined, as where both said the same of every case.`,
      head: [
        'item',
        'cases',
        'raw %',
        'kappa',
        'kappa from',
        'kappa to',
        'AC1',
        'AC1 from',
        'AC1 to',
        'PABAK',
        'prevalence',
      ],
      rows: [
        agreement('safe or unsafe', figures.safety),
        ...figures.items.map(item => agreement(asks.get(item.id) ?? item.id, item)),
      ],
    },
  ]
}

const share = (name: string, { count, of, share: part, low, high }: Share): readonly FigureCell[] =>
  of === 0 ? [name, count, of, NONE, NONE, NONE] : [name, count, of, percent(part), percent(low), percent(high)]

const percent = (part: number): number => Math.round(part * 1000) / 10

function agreement(name: string, { cases, raw, kappa, ac1, pabak, prevalence }: Agreement): readonly FigureCell[] {
  if (cases < PAIRS_LEAST) return [name, cases, ...Array.from({ length: 9 }, () => NONE)]
  const two = (value: number): FigureCell => (Number.isNaN(value) ? NONE : Math.round(value * 100) / 100)
  // Where all agree, or one reviewer gave every case the same answer, the formula has no spread: that is no exact figure.
  const spread = (one: typeof kappa) =>
    one.standardError < 1e-9 ? [two(one.value), NONE, NONE] : [one.value, one.low, one.high].map(two)
  return [name, cases, percent(raw), ...spread(kappa), ...spread(ac1), two(pabak), two(prevalence)]
}

/** What is still to be done about earlier findings heads the page; none where nothing is. */
export function actionTables(actions: readonly ReviewAction[]): readonly FigureTable[] {
  const open = openActions(actions)
  if (open.length === 0) return []
  return [
    {
      id: 'actions',
      title: 'Still to be done about what reviews found',
      says: 'Each ends with a changed flow, a changed setting, or a written reason.',
      head: ['what', 'who', 'by'],
      rows: open.map(({ says, owner, due }) => [says, owner, due]),
    },
  ]
}
