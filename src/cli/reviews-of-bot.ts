/** The pages *Reviews* on the running bot: its file of reviews, its store, its words. */
import { dirname } from 'node:path'
import { staffLine } from '../case/line.ts'
import type { ReviewsPorts } from '../http/console/reviews-routes.ts'
import { wordsIn } from '../review/masked-words.ts'
import type { ReviewStore } from '../review/review-store.ts'
import type { Clock, Random } from '../runtime/clock.ts'
import { openReviewFile } from '../store/sqlite/review-file.ts'
import type { Store } from '../store/store.ts'
import type { ChangingLine } from './changing-line.ts'
import { figureNames } from './figure-names.ts'
import { type FiguresAside, figuresAside } from './figures-aside.ts'
import { shelvedLine } from './figures-source.ts'
import { readFlowFiles } from './flow-files.ts'
import { type FlowShelf, flowShelf } from './flow-shelf.ts'
import type { LoadedLine } from './load-line.ts'
import { type ReviewIndex, reviewIndex } from './review-index.ts'
import { type ReviewSideOptions, reviewSide } from './review-side.ts'
import { readRubric } from './rubric-file.ts'
import { summaryWatch } from './summary-watch.ts'

export interface ReviewsOfBotOptions extends Pick<ReviewSideOptions, 'trail' | 'now' | 'wording'> {
  readonly clinicDir: string
  readonly changing: Pick<ChangingLine, 'current'>
  readonly store: Pick<Store, 'load' | 'recentHeads' | 'heads' | 'history'>
  readonly data: { readonly key: Buffer; readonly reviewsFile: string }
  readonly random: Random
  readonly clock: Clock
  readonly onFault: (error: unknown) => void
}

export interface ReviewsOfBot {
  readonly ports: ReviewsPorts
  flag(caseId: string, by: string): Promise<boolean>
  /** From here on closed cases are taken in. */
  start(): void
  stop(): Promise<void>
}

/** Nothing is opened or read before the line has answered for a while, or somebody looks: a fault here keeps no family waiting. */
export function reviewsOfBot(options: ReviewsOfBotOptions): ReviewsOfBot {
  const { clinicDir, changing, data, onFault } = options
  let reviews: ReviewStore | undefined
  let opened: ReviewsPorts | undefined
  let index: ReviewIndex | undefined
  let aside: FiguresAside | undefined
  let known: ReadonlySet<string> | undefined
  let shelf: { readonly of: LoadedLine; readonly shelf: FlowShelf } | undefined

  function shelfNow(): FlowShelf {
    const loaded = changing.current()
    // Flows of earlier versions stand in the data folder: a case that was opened under one is reviewed like any other.
    if (shelf?.of !== loaded) shelf = { of: loaded, shelf: flowShelf({ loaded, data: dirname(data.reviewsFile) }) }
    return shelf.shelf
  }

  function open(): ReviewsPorts {
    if (opened !== undefined) return opened
    // Whether the file is whole is looked at where figures are worked out: here a family would wait for it.
    reviews = openReviewFile(data.reviewsFile, 'unchecked')
    aside = figuresAside(month => ({ file: data.reviewsFile, month, ...namesOf(changing.current()) }), onFault)
    const lineOf = (state: string) => shelvedLine(changing.current(), shelfNow())(state)
    index = reviewIndex({ reviews, store: options.store, key: data.key, lineOf })
    opened = reviewSide({
      ...{ reviews, index, figures: aside, now: options.now, wording: options.wording, trail: options.trail },
      rubric: () => readRubric(clinicDir),
      line: () => staffLine(changing.current().line),
      random: options.random,
      known: () => {
        known ??= knownWords(changing.current())
        return known
      },
    })
    return opened
  }

  const watch = summaryWatch({
    clock: options.clock,
    async refresh() {
      open()
      await index?.refresh()
    },
    onFault,
  })

  return {
    start: watch.start,
    ports: {
      months: () => open().months(),
      queue: async (who, month) => open().queue(who, month),
      draw: async (who, month) => open().draw(who, month),
      reviewed: async (who, caseId, step) => open().reviewed(who, caseId, step),
      sheet: async (caseId, number, step) => open().sheet(caseId, number, step),
      score: async (who, caseId, fields) => open().score(who, caseId, fields),
      report: async month => open().report(month),
      figures: async month => open().figures(month),
      actions: async () => open().actions(),
      addAction: async (who, caseId, fields) => open().addAction(who, caseId, fields),
      endAction: async (who, number, fields) => open().endAction(who, number, fields),
    },
    async flag(caseId, by) {
      open()
      const trail = options.trail()
      if (trail === undefined || reviews === undefined) return false
      const at = options.now()
      reviews.flag(caseId, at, by)
      await trail.change({ at, who: by, did: 'review-flagged', on: caseId }, [])
      return true
    },
    async stop() {
      watch.stop()
      index?.stop()
      await aside?.settled()
      reviews?.close()
    },
  }
}

/** Words of the flows and of what families are known to write, less the names of the clinic's own people and places. */
function knownWords({ line }: LoadedLine): ReadonlySet<string> {
  const { people, hospitals, name } = line.clinic
  const named = wordsIn([name, ...people.map(person => person.name), ...hospitals.map(hospital => hospital.name)])
  const texts = [...readFlowFiles()].flatMap(([path, text]) => (path.startsWith('rules/') ? [] : [text]))
  return new Set([...wordsIn(texts)].filter(word => !named.has(word)))
}

/** Names of concerns and questions, as they can be handed to a helper. */
function namesOf({ line }: LoadedLine) {
  const ofStaff = staffLine(line)
  const { flows, language } = ofStaff
  const names = figureNames(ofStaff)
  const listed = (ids: Iterable<string>, name: (id: string) => string) =>
    Object.fromEntries([...ids].map(id => [id, name(id)]))
  const outcomes = [...(flows.wording.get(language)?.ids ?? [])].flatMap(id =>
    id.startsWith('outcome/') ? [id.slice(8)] : [],
  )
  return {
    concerns: listed(flows.flows.keys(), names.concern),
    facts: listed(Object.keys(flows.facts), names.fact),
    outcomes: listed(outcomes, names.outcome),
  }
}
