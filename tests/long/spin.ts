/** The explorer beside SPIN: on every part of the shipped flows, and on flows that were broken on purpose. */
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { allMutants, type Mutant } from '../support/mutation.ts'
import {
  explored,
  flatPart,
  type Part,
  readAll,
  refereed,
  spinVersion,
  WALKED_FAST,
  type Walked,
} from '../support/referee.ts'
import { PARTS } from '../support/referee-parts.ts'
import type { SuiteResult } from './world.ts'

export interface SpinOptions {
  /** Broken variants to compare, at most. */
  readonly variants: number
  readonly progress: (share: number, line: string) => void
}

/** One comparison. `isSame`: states, transitions and the rules broken. */
export interface Compared {
  readonly name: string
  readonly isSame: boolean
  readonly states: number
  readonly transitions: number
  readonly broken: readonly string[]
  readonly ours: Walked
  readonly theirs: Walked
}

/** Parts on which variants are compared: small enough to compile SPIN's verifier for every one. */
const VARIED: readonly Part[] = [
  { name: 'someone', flow: 'someone', happens: 'all', flatten: { givable: new Map() } },
  ...PARTS.filter(({ name }) => name === 'a child who must not be long without feed'),
]

export async function spinSuite({ variants, progress }: SpinOptions): Promise<SuiteResult> {
  const { set, rules } = readAll()
  const parts: Compared[] = []
  for (const [done, part] of PARTS.entries()) {
    progress((0.5 * done) / PARTS.length, part.name)
    parts.push(compared(part.name, part, flatPart(part, set, rules), rules))
  }
  const broken = brokenVariants(variants, share => progress(0.5 + share / 2, 'broken variants'))
  progress(1, 'done')
  const all = [...parts, ...broken]
  const differing = all.filter(({ isSame }) => !isSame)
  return {
    isWell: differing.length === 0 && broken.length >= Math.min(variants, 20),
    figures: {
      spin: spinVersion(),
      compared: all.length,
      differing: differing.map(({ name }) => name),
      parts: parts.map(figureOf),
      brokenVariants: broken.map(({ name, states, broken: rulesBroken }) => ({ name, states, broken: rulesBroken })),
    },
    table: [
      ...all.map(lineOf),
      `${all.length - differing.length} of ${all.length} the same; ${broken.length} of them flows broken on purpose`,
    ],
  }
}

function compared(
  name: string,
  part: Part,
  flat: ReturnType<typeof flatPart>,
  rules: Parameters<typeof explored>[2],
): Compared {
  const [ours, theirs] = [explored(part, flat), refereed(part, flat, undefined, WALKED_FAST)]
  const [ourRules, theirRules] = [explored(part, flat, rules).broken, refereed(part, flat, rules, WALKED_FAST).broken]
  const isSame =
    ours.states === theirs.states && ours.transitions === theirs.transitions && `${ourRules}` === `${theirRules}`
  return { name, isSame, states: ours.states, transitions: ours.transitions, broken: ourRules, ours, theirs }
}

/** Edits that break a rule which holds as shipped, as many of each part as it has, or its share of `most`. */
export function brokenVariants(most: number, progress: (share: number) => void = () => {}): Compared[] {
  const shipped = new Map(readFlowFiles())
  const { set, rules } = readAll(shipped)
  const mutants = allMutants(shipped)
  const found: Compared[] = []
  for (const [index, part] of VARIED.entries()) {
    const mostHere = Math.ceil((most * (index + 1)) / VARIED.length)
    const kept = new Set(explored(part, flatPart(part, set, rules), rules).broken)
    const own = set.flows.get(part.flow)?.steps
    for (const mutant of mutants) {
      if (found.length >= mostHere) break
      if (mutant.flow !== undefined && mutant.flow !== part.flow) continue
      if (!mutant.steps.some(step => own?.has(step) === true)) continue
      const variant = variantOf(part, mutant, shipped, kept)
      if (variant === undefined) continue
      found.push(compared(`${part.name}: ${mutant.id}`, part, variant.flat, variant.rules))
      progress(found.length / most)
    }
  }
  return found
}

/** The edited flow, where it can be read, rests, and breaks a rule that is not broken already. */
function variantOf(part: Part, mutant: Mutant, shipped: ReadonlyMap<string, string>, kept: ReadonlySet<string>) {
  try {
    const { set, rules } = readAll(mutant.files(shipped))
    const flat = flatPart(part, set, rules)
    return explored(part, flat, rules).broken.every(rule => kept.has(rule)) ? undefined : { flat, rules }
  } catch {
    return undefined
  }
}

const figureOf = ({ name, states, transitions, broken, ours, theirs }: Compared) => ({
  name,
  states,
  transitions,
  broken,
  explorerMs: Math.round(ours.milliseconds),
  spinMs: Math.round(theirs.milliseconds),
})

const lineOf = ({ name, isSame, states, transitions, broken, theirs }: Compared): string =>
  isSame
    ? `same     ${name}: ${states} states, ${transitions} transitions, ${broken.length === 0 ? 'nothing broken' : `broken: ${broken.join(', ')}`}`
    : `DIFFERS  ${name}: ${states} and ${theirs.states} states, ${transitions} and ${theirs.transitions} transitions`
