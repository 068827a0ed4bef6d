/** Works out figures on a core of its own: a year's cases take seconds, in which no family would be answered. */
import { parentPort, workerData } from 'node:worker_threads'
import { openReviewFile } from '../store/sqlite/review-file.ts'
import { monthFigures } from './figures.ts'
import type { FiguresTask } from './figures-aside.ts'

const { file, month, concerns, facts, outcomes } = workerData as FiguresTask
const reviews = openReviewFile(file)
try {
  const names = {
    concern: (id: string) => concerns[id] ?? id,
    fact: (id: string) => facts[id] ?? id,
    outcome: (id: string) => outcomes[id] ?? id,
  }
  parentPort?.postMessage(monthFigures(reviews.summaries(), month, names))
} finally {
  reviews.close()
}
