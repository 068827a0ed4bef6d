import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { cellText } from '../review/figure-table.ts'
import type { ReviewStore } from '../review/review-store.ts'
import { actionTables, reviewTables } from '../review/review-tables.ts'
import { readReviewerFile, reviewerFile } from '../review/reviewer-file.ts'
import { reviewFigures, standingOf } from '../review/score.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { openAccountFile } from '../store/sqlite/account-file.ts'
import { openReviewFile } from '../store/sqlite/review-file.ts'
import { localParts } from '../time/local-instants.ts'
import { argumentsOf, CalledWrongly, type Command, complain, countText, print } from './command.ts'
import { dataFiles } from './data-folder.ts'
import { tableText } from './figures.ts'
import { fromData } from './figures-source.ts'
import { DEMO_CLINIC, type LoadedLine } from './load-line.ts'
import { dataFolderSaid, toBeWritten } from './places-said.ts'
import { readLine } from './replay.ts'
import { drawMonth } from './review-draw.ts'
import { readRubric } from './rubric-file.ts'

interface Call {
  readonly loaded: LoadedLine
  readonly clinicDir: string
  readonly dataDir: string
  readonly month: string | undefined
  readonly seed: string | undefined
  readonly file: string | undefined
  readonly isJson: boolean
}

const ACTIONS: Readonly<Record<string, (call: Call) => Promise<number>>> = {
  draw,
  export: exported,
  import: imported,
  report,
}

export const reviewCommand: Command = {
  name: 'review',
  summary: 'what is reviewed and what reviewers say: "review draw", "review export", "review import", "review report"',
  usage: [
    'smallhours review draw --month 2026-03 [--seed TEXT]   what of a month is reviewed; the seed goes into the audit trail',
    'smallhours review export FILE [--month 2026-03]        scores as CSV, one a line',
    'smallhours review import FILE                          scores of a CSV; what is wrong is said line by line',
    'smallhours review report [--month 2026-03]             verdicts, triage, agreement',
    'each with [--clinic FOLDER] [--data FOLDER] [--json]',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      month: { type: 'string' },
      seed: { type: 'string' },
      json: { type: 'boolean', default: false },
    })
    const [name = '', file, ...more] = positionals
    const action = Object.hasOwn(ACTIONS, name) ? ACTIONS[name] : undefined
    if (action === undefined) throw new CalledWrongly(`one of ${Object.keys(ACTIONS).join(', ')} was expected`)
    if (more.length > 0 || (name === 'export' || name === 'import') !== (file !== undefined))
      throw new CalledWrongly(file === undefined ? 'a file was expected' : `"${file}": no word was expected there`)
    if (values.month !== undefined && !/^\d{4}-(0[1-9]|1[0-2])$/.test(values.month))
      throw new CalledWrongly(`--month ${values.month}: a month such as 2026-03 was expected`)
    dataFolderSaid(values.data)
    const loaded = readLine(values.clinic, undefined)
    if (loaded === undefined) return 1
    const { clinic: clinicDir, data: dataDir, month, seed, json: isJson } = values
    return action({ loaded, clinicDir, dataDir, month, seed, file, isJson })
  },
}

async function draw({ loaded, dataDir, month, seed, isJson }: Call): Promise<number> {
  if (month === undefined) throw new CalledWrongly('--month was expected')
  const { leftOut } = await fromData(dataDir, loaded)
  const now = systemClock().now()
  const { year, month: at } = localParts(now, loaded.line.clinic.zone)
  const trail = openAccountFile(dataFiles(dataDir).accountsFile)
  try {
    return await withReviews(dataDir, async reviews => {
      const drawing = { reviews, trail, random: systemRandom(), now, by: 'machine' }
      const result = await drawMonth(month, seed, `${year}-${String(at).padStart(2, '0')}`, drawing)
      if (result.kind !== 'done') {
        complain(WHY_NOT[result.kind])
        return 1
      }
      const { draw: made } = result
      const all = reviews.queue(month).length
      if (isJson) print(JSON.stringify({ ...made, picked: all, leftOut }))
      else
        print(
          `${month}: ${all} cases are reviewed, ${made.size} of ${made.from} of them drawn at random. Seed: ${made.seed}`,
        )
      return 0
    })
  } finally {
    await trail.close()
  }
}

const WHY_NOT = {
  drawn: 'This month is drawn already; a draw is made once. "audit export" shows its seed.',
  none: 'No closed case of this month is on record.',
  running: 'This month has not ended: its last cases would be left out.',
} as const

async function exported({ clinicDir, dataDir, month, file = '' }: Call): Promise<number> {
  toBeWritten(file)
  const rubric = readRubric(clinicDir)
  return withReviews(dataDir, async reviews => {
    const scores = [...reviews.scores(month).values()].flat()
    writeFileSync(file, reviewerFile(rubric, scores), { mode: 0o600, flag: 'wx' })
    print(`${file}: ${countText(scores.length, 'score')}`)
    return 0
  })
}

async function imported({ loaded, clinicDir, dataDir, file = '', isJson }: Call): Promise<number> {
  if (!existsSync(file)) throw new CalledWrongly(`${file}: there is no such file`)
  const rubric = readRubric(clinicDir)
  return withReviews(dataDir, async reviews => {
    const { scores, faults } = readReviewerFile(readFileSync(file, 'utf8'), {
      rubric,
      scoresOf: caseId => (reviews.isPicked(caseId) ? reviews.scoresOf(caseId) : undefined),
      isReviewer: id =>
        loaded.line.clinic.people.some(person => person.id === id && person.roles?.includes('reviewer')),
      now: systemClock().now(),
    })
    const kept = scores.filter(score => reviews.addScore(score) === 'kept').length
    for (const { line, found } of faults) complain(`${file}:${line} ${found}`)
    if (isJson) print(JSON.stringify({ kept, faults }))
    else print(`Taken in: ${countText(kept, 'score')}. Left out: ${countText(faults.length, 'line')}.`)
    return faults.length === 0 && kept === scores.length ? 0 : 1
  })
}

async function report({ clinicDir, dataDir, month, isJson }: Call): Promise<number> {
  const rubric = readRubric(clinicDir)
  return withReviews(dataDir, async reviews => {
    const scores = reviews.scores(month)
    const figures = reviewFigures(rubric, scores, caseId => reviews.summary(caseId)?.decided)
    const open = [...scores].filter(([, own]) => standingOf(own).kind === 'conflict').map(([caseId]) => caseId)
    const tables = [...actionTables(reviews.actions()), ...reviewTables(rubric, figures)]
    if (isJson)
      print(
        JSON.stringify({
          month,
          figures,
          waitForAThird: open,
          tables: tables.map(({ id, rows }) => ({ id, rows: rows.map(row => row.map(cellText)) })),
        }),
      )
    else print([...tables.map(tableText), ...open.map(caseId => `A third reviewer is needed: ${caseId}`)].join('\n\n'))
    return 0
  })
}

async function withReviews<T>(dataDir: string, work: (reviews: ReviewStore) => Promise<T>): Promise<T> {
  const reviews = openReviewFile(dataFiles(dataDir).reviewsFile)
  try {
    return await work(reviews)
  } finally {
    reviews.close()
  }
}
