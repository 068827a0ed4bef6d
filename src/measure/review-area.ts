import { closeSync, openSync, writeSync } from 'node:fs'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { figureOf, type Measured } from './figure.ts'
import { type ManyCases, manyCases } from './many-cases.ts'
import { ran } from './process.ts'
import type { AreaContext, MeasuredReviews } from './subject.ts'

/** Cases of a large clinic over some years. */
const CASES = 100_000
/** Cases of the small year that is told again and again. */
const SMALL = 500
const ROUNDS = 5
/** Lines gathered before they are written. */
const TOGETHER = 2_000
const MONTH = '2025-08'
const PAGES = [
  '/reviews',
  `/reviews?month=${MONTH}`,
  '/reviews/report',
  `/reviews/figures?month=${MONTH}`,
  '/reviews/figures',
  '/reviews/actions',
]

/** What if over a hundred thousand cases, and the pages Reviews beside as many. */
export async function reviewArea(context: AreaContext): Promise<readonly Measured[]> {
  const many = manyCases(context.subject.line, SMALL)
  return [...(await whatIf(context, many)), ...(await pages(context, many))]
}

/** By the command, as it is typed, on whatever cores there are. */
async function whatIf({ subject, ground, progress }: AreaContext, many: ManyCases): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const file = join(folder, 'many.jsonl')
  progress.says(`review: writing ${CASES.toLocaleString('en')} cases`)
  const bytes = write(file, many.lines(CASES))
  const args = ['what-if', file, '--settings', 'closure-latest=PT3H', '--json']
  const { minutes, mostMb, out } = await ran([subject.launcher, ...args], ground, line =>
    progress.says(`review: ${line}`),
  )
  ground.removeFolder(folder)
  const { cases, differing, faults, withoutFlow } = JSON.parse(out) as Record<string, number>
  if (cases !== CASES || differing === 0 || faults !== 0 || withoutFlow !== 0)
    throw new Error(`measure: what-if judged ${cases} cases with ${faults} faults; ${CASES} without any were expected`)
  const of = `${CASES} cases of a drawn year of ${SMALL}, ${Math.round(bytes / 1e6)} MB; ${differing} would have ended otherwise`
  const shared = { area: 'review', bound: 'most', against: of } as const
  return [
    figureOf({ ...shared, name: 'what if: a longer time until the opening may close', unit: 'minutes', target: 2 }, [
      minutes,
    ]),
    figureOf({ ...shared, name: 'memory of what if, its helpers and all', unit: 'megabytes', target: 2_000 }, [mostMb]),
  ]
}

async function pages({ subject, ground, progress }: AreaContext, many: ManyCases): Promise<readonly Measured[]> {
  const reviews = subject.openReviews(ground.folder())
  progress.says(`review: ${CASES.toLocaleString('en')} summaries`)
  reviews.fill([...many.summaries(CASES)])
  await reviews.draw(MONTH)
  progress.says('review: waiting for the figures, which are worked out beside')
  for (const path of PAGES.filter(one => one.startsWith('/reviews/figures'))) await figuresStand(reviews, path)
  const opened = new Map<string, readonly number[]>()
  for (const path of PAGES) opened.set(path, await openings(reviews, path))
  await reviews.close()
  const middle = (values: readonly number[]) => values.toSorted((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0
  const [path, slowest] = [...opened].toSorted(([, a], [, b]) => middle(b) - middle(a))[0] ?? ['', []]
  return [
    figureOf(
      {
        ...{ area: 'review', name: 'opening the slowest of the pages Reviews', unit: 'milliseconds', bound: 'most' },
        ...{ target: 1_000, against: `${path}, with ${CASES} cases on record; figures are worked out beside` },
      },
      slowest,
    ),
  ]
}

const FIGURES_WITHIN_MS = 180_000

/** Until the figures of a page stand ready: before that it says that they are being worked out, which is quick. */
async function figuresStand(reviews: MeasuredReviews, path: string): Promise<void> {
  const started = performance.now()
  while (!(await reviews.open(path)).includes('<table')) {
    if (performance.now() - started > FIGURES_WITHIN_MS) throw new Error(`measure: no figures on ${path}`)
    await pause(100)
  }
}

/** Milliseconds of each; the first does not count. */
async function openings(reviews: MeasuredReviews, path: string): Promise<readonly number[]> {
  const times: number[] = []
  for (let round = 0; round <= ROUNDS; round += 1) {
    const started = performance.now()
    await reviews.open(path)
    times.push(performance.now() - started)
  }
  return times.slice(1)
}

/** Writes lines to a file; how many bytes it has. */
function write(file: string, lines: Iterable<string>): number {
  const handle = openSync(file, 'w', 0o600)
  let bytes = 0
  let gathered: string[] = []
  const flush = () => {
    bytes += writeSync(handle, `${gathered.join('\n')}\n`)
    gathered = []
  }
  for (const line of lines) {
    gathered.push(line)
    if (gathered.length === TOGETHER) flush()
  }
  if (gathered.length > 0) flush()
  closeSync(handle)
  return bytes
}
