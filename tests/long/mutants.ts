/** Slips made on purpose in the shipped flows: how many are noticed, by whom, and which are not. */
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { seeded } from '../../src/measure/seeded.ts'
import { EQUIVALENT } from '../support/equivalent-mutants.ts'
import { type Noticed, watchers } from '../support/mutant-kill.ts'
import { allMutants, type Mutant } from '../support/mutation.ts'
import { mutantPage } from './mutant-page.ts'
import type { SuiteResult } from './world.ts'

export interface MutantsOptions {
  /** After this no further edit is begun; all are tried where the time is enough. */
  readonly minutes: number
  readonly seed: number
  /** `quick`: the checker looks at the shortest conversations only. */
  readonly effort: 'quick' | 'whole'
  /** Where the page goes. */
  readonly figures: string
  readonly progress: (share: number, line: string) => void
}

export interface MutantFigures {
  readonly mutants: number
  readonly tried: number
  readonly noticedBy: Readonly<Record<Noticed['by'], number>>
  readonly equivalent: readonly { readonly id: string; readonly why: string | undefined }[]
  readonly share: number
  readonly survivors: readonly string[]
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
  const watching = await watchers()
  const mutants = inDrawnOrder(allMutants(new Map(readFlowFiles())), options.seed)
  const endsAt = performance.now() + options.minutes * 60_000
  const tried: Tried[] = []
  for (const mutant of mutants) {
    if (performance.now() > endsAt) break
    const noticed = await watching.notice(mutant, options.effort)
    tried.push({ id: mutant.id, kind: mutant.kind, noticed })
    const left = tried.filter(each => each.noticed === undefined).length
    options.progress(tried.length / mutants.length, `${tried.length} of ${mutants.length} edits, ${left} not noticed`)
  }
  options.progress(1, `${tried.length} of ${mutants.length} edits`)
  const result = resultOf(tried, mutants.length)
  mkdirSync(options.figures, { recursive: true })
  writeFileSync(join(options.figures, 'mutants.html'), mutantPage(tried, result.figures))
  return { ...result, figures: { effort: options.effort, ...result.figures } }
}

/** Share of the edits that change anything which is noticed, at least. */
const LEAST = 0.98

export function resultOf(
  tried: readonly Tried[],
  all: number,
): Omit<SuiteResult, 'figures'> & { figures: MutantFigures } {
  const survivors = tried.filter(({ noticed }) => noticed === undefined)
  const equivalent = survivors.filter(({ id }) => EQUIVALENT[id] !== undefined)
  const real = survivors.filter(({ id }) => EQUIVALENT[id] === undefined)
  const counted = tried.length - equivalent.length
  const share = counted === 0 ? 0 : (counted - real.length) / counted
  const by = (who: Noticed['by']) => tried.filter(({ noticed }) => noticed?.by === who).length
  const figures = {
    mutants: all,
    tried: tried.length,
    noticedBy: { reading: by('reading'), vignettes: by('vignettes'), checker: by('checker') },
    equivalent: equivalent.map(({ id }) => ({ id, why: EQUIVALENT[id] })),
    share: Number(share.toFixed(4)),
    survivors: real.map(({ id }) => id),
  }
  return {
    isWell: share >= LEAST,
    figures,
    table: [
      ...real.map(({ id }) => `not noticed: ${id}`),
      `${tried.length} of ${all} edits tried; noticed by reading ${by('reading')}, by vignettes ${by('vignettes')}, by the checker ${by('checker')}; ${equivalent.length} change nothing; ${(share * 100).toFixed(1)} % of the rest noticed`,
    ],
  }
}
