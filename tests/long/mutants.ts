/** Slips made on purpose in the shipped flows: how many are noticed, by whom, and which are not. */
import { createHash } from 'node:crypto'
import { appendFileSync, existsSync, mkdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import type { FlowFiles } from '../../src/flow/load.ts'
import { seeded } from '../../src/measure/seeded.ts'
import { EQUIVALENT } from '../support/equivalent-mutants.ts'
import { NOTICED_BY, type Noticed, type Watchers, watchers } from '../support/mutant-kill.ts'
import { allMutants, diffOf, type Mutant } from '../support/mutation.ts'
import { playedSituations, type Situation, shippedVignettes } from '../support/situation-ways.ts'
import { mutantPage } from './mutant-page.ts'
import type { SuiteResult } from './world.ts'

export interface MutantsOptions {
  /** After this no further edit is begun; all are tried where the time is enough. */
  readonly minutes: number
  readonly seed: number
  /** `quick`: the checker looks at the shortest conversations only. */
  readonly effort: 'quick' | 'whole'
  /** Only edits that show in this flow: its own, and those of shared steps that it comes through. Left out: all. */
  readonly flow?: string
  /** Where the page goes. */
  readonly figures: string
  readonly progress: (share: number, line: string) => void
}

export interface KindFigures {
  readonly tried: number
  readonly noticed: number
  /** Edits that change nothing anybody could notice. */
  readonly same: number
}

export interface MutantFigures {
  readonly mutants: number
  readonly tried: number
  readonly noticedBy: Readonly<Record<Noticed['by'], number>>
  readonly kinds: Readonly<Record<string, KindFigures>>
  readonly equivalent: readonly { readonly id: string; readonly why: string | undefined }[]
  readonly share: number
  readonly survivors: readonly { readonly id: string; readonly file: string; readonly diff: readonly string[] }[]
}

export interface Tried {
  readonly id: string
  readonly kind: string
  readonly noticed: Noticed | undefined
}

/** In an order drawn by the seed, so that a part of them is a fair part. */
export function inDrawnOrder(mutants: readonly Mutant[], seed: number): Mutant[] {
  const random = seeded(seed)
  return mutants
    .map(mutant => ({ mutant, place: random.int(2 ** 31 - 1) }))
    .toSorted((a, b) => a.place - b.place)
    .map(({ mutant }) => mutant)
}

export async function mutantsSuite(options: MutantsOptions): Promise<SuiteResult> {
  const shipped = new Map(readFlowFiles())
  const watching = await watchers(undefined, options.flow, await recordedSituations(shipped, options.progress))
  const all = allMutants(shipped)
  const wanted = options.flow === undefined ? all : all.filter(mutant => showsIn(options.flow ?? '', mutant, watching))
  const mutants = inDrawnOrder(wanted, options.seed)
  const book = bookOf(shipped, options.effort)
  const endsAt = performance.now() + options.minutes * 60_000
  const tried: Tried[] = []
  for (const { id, kind, ...mutant } of mutants) {
    const known = book.known(id)
    if (known === undefined && performance.now() > endsAt) continue
    const noticed = known === undefined ? await watching.notice({ id, kind, ...mutant }, options.effort) : known.noticed
    if (known === undefined) book.write({ id, kind, noticed })
    tried.push({ id, kind, noticed })
    const left = tried.filter(each => each.noticed === undefined).length
    options.progress(tried.length / mutants.length, `${tried.length} of ${mutants.length} edits, ${left} not noticed`)
  }
  const proved = watching.changingNothing(
    mutants.filter(({ id }) => tried.some(each => each.id === id && each.noticed === undefined)),
    options.progress,
  )
  options.progress(1, `${tried.length} of ${mutants.length} edits`)
  const result = resultOf(tried, mutants, shipped, proved)
  mkdirSync(options.figures, { recursive: true })
  writeFileSync(join(options.figures, 'mutants.html'), mutantPage(tried, result.figures))
  return { ...result, figures: { effort: options.effort, flow: options.flow ?? 'all', ...result.figures } }
}

/** Whether an edit can show in a flow. Facts and tags show wherever they are used: counted where all flows are. */
function showsIn(flow: string, mutant: Mutant, watching: Watchers): boolean {
  if (mutant.flow !== undefined) return mutant.flow === flow
  const entered = watching.entered(flow)
  return mutant.steps.some(step => entered.has(step))
}

/**
 * What was tried before, of the same flows with the same effort: a run that was cut short goes on where it was, and of two runs
 * beside each other with two seeds each finds what the other has tried.
 */
function bookOf(shipped: FlowFiles, effort: string) {
  const file = join(tmpdir(), `smallhours-mutants-${contentOf(shipped)}-${effort}.jsonl`)
  let read = 0
  const tried = new Map<string, Tried>()
  return {
    known(id: string): Tried | undefined {
      const size = existsSync(file) ? statSync(file).size : 0
      if (size > read)
        for (const line of readFileSync(file, 'utf8').split('\n').slice(0, -1)) {
          const each = JSON.parse(line) as Tried
          tried.set(each.id, each)
        }
      read = size
      return tried.get(id)
    },
    write: (one: Tried) => appendFileSync(file, `${JSON.stringify(one)}\n`),
  }
}

/** What is edited and what watches: how things are worded is neither. */
function contentOf(shipped: FlowFiles): string {
  const hash = createHash('sha256')
  for (const [path, text] of [...shipped].toSorted())
    if (!/\/(wording|lexicon)\./.test(path)) hash.update(`${path}\n${text}\n`)
  return hash.digest('hex').slice(0, 16)
}

/** The vignettes as the whole bot plays them: kept beside the book, since that takes minutes. */
async function recordedSituations(
  shipped: FlowFiles,
  progress: MutantsOptions['progress'],
): Promise<ReadonlyMap<string, readonly Situation[]>> {
  const { loaded, vignettes } = shippedVignettes()
  const about = createHash('sha256').update(JSON.stringify(vignettes)).digest('hex').slice(0, 16)
  const file = join(tmpdir(), `smallhours-situations-${contentOf(shipped)}-${about}.json`)
  if (existsSync(file)) return new Map(Object.entries(JSON.parse(readFileSync(file, 'utf8'))))
  const recorded = new Map<string, readonly Situation[]>()
  for (const vignette of vignettes) {
    recorded.set(vignette.id, (await playedSituations(loaded, vignette)).situations)
    progress(0, `${recorded.size} of ${vignettes.length} situations recorded`)
  }
  writeFileSync(file, JSON.stringify(Object.fromEntries(recorded)))
  return recorded
}

const PROVED =
  'proved: in no conversation that the checker walks, locks shut or open, does the step lead elsewhere with it'

/** Share of the edits that change anything which is noticed, at least. */
const LEAST = 0.98

export function resultOf(
  tried: readonly Tried[],
  mutants: readonly Mutant[],
  shipped: FlowFiles,
  proved: ReadonlySet<string> = new Set(),
): Omit<SuiteResult, 'figures'> & { figures: MutantFigures } {
  const whyOf = (id: string) => EQUIVALENT[id] ?? (proved.has(id) ? PROVED : undefined)
  const isSame = ({ id, noticed }: Tried) => noticed === undefined && whyOf(id) !== undefined
  const equivalent = tried.filter(isSame)
  const real = tried.filter(each => each.noticed === undefined && !isSame(each))
  const counted = tried.length - equivalent.length
  const share = counted === 0 ? 0 : (counted - real.length) / counted
  const by = (who: Noticed['by']) => tried.filter(({ noticed }) => noticed?.by === who).length
  const kinds = [...Map.groupBy(tried, ({ kind }) => kind)]
    .toSorted(([a], [b]) => (a < b ? -1 : 1))
    .map(([kind, all]) => {
      const noticed = all.filter(each => each.noticed !== undefined).length
      return [kind, { tried: all.length, noticed, same: all.filter(isSame).length }] as const
    })
  const places = new Map(mutants.map(mutant => [mutant.id, mutant]))
  const survivors = real.map(({ id }) => {
    const mutant = places.get(id)
    return { id, file: mutant?.path ?? '', diff: mutant === undefined ? [] : diffOf(mutant, shipped) }
  })
  const figures: MutantFigures = {
    mutants: mutants.length,
    tried: tried.length,
    noticedBy: Object.fromEntries(NOTICED_BY.map(who => [who, by(who)])) as MutantFigures['noticedBy'],
    kinds: Object.fromEntries(kinds),
    equivalent: equivalent.map(({ id }) => ({ id, why: whyOf(id) })),
    share: Number(share.toFixed(4)),
    survivors,
  }
  const noticed = NOTICED_BY.map(who => `by ${who} ${by(who)}`).join(', ')
  return {
    isWell: share >= LEAST,
    figures,
    table: [
      ...survivors.flatMap(({ id, file, diff }) => [
        `not noticed: ${id} (${file})`,
        ...diff.map(line => `    ${line}`),
      ]),
      ...kinds.map(([kind, each]) => `${kind}: ${each.noticed} of ${each.tried - each.same} noticed`),
      `${tried.length} of ${mutants.length} edits tried; noticed ${noticed}; ${equivalent.length} change nothing; ${(share * 100).toFixed(1)} % of the rest noticed`,
    ],
  }
}
