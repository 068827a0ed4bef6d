/** What the kept ways of every vignette come to under the shipped flows, so that edited flows can be held beside them. */
import type { LoadedLine } from '../../src/cli/load-line.ts'
import type { Vignette } from '../../src/cli/vignette-file.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import type { Mutant } from './mutation.ts'
import { printOf, readPinnedWays } from './pinned-ways.ts'
import { AS_IT_WAS, lineOn, playedSituations, type Situation, type Way, waysOf } from './situation-ways.ts'

interface KnownWay {
  readonly print: string
  /** Advice that is said. */
  readonly says: ReadonlySet<string>
  readonly entered: ReadonlySet<string>
}

export interface Night {
  readonly situation: Situation
  readonly ways: ReadonlyMap<string, KnownWay>
  /** Advice that is said as it was, before anybody does otherwise. */
  readonly says: ReadonlySet<string>
}

export interface Nights {
  of(vignette: string): readonly Night[]
  /**
   * Vignettes that go otherwise as they were; where none does, the first way of any that does.
   */
  differing(mutant: Mutant, set: FlowSet): { readonly differing: readonly string[]; readonly first: string | undefined }
}

/** The first that differ are enough. */
const DIFFERING_MOST = 12

/**
 * The ways that are kept of these vignettes, as the shipped flows let them go.
 *
 * @param recorded  situations of vignettes by their id, where they were played before
 */
export async function nightsOf(
  loaded: LoadedLine,
  vignettes: readonly Vignette[],
  recorded: ReadonlyMap<string, readonly Situation[]> = new Map(),
): Promise<Nights> {
  const line = lineOn(loaded, loaded.line.flows)
  const pinned = readPinnedWays()
  const byVignette = new Map<string, readonly Night[]>()
  for (const vignette of vignettes) {
    const situations = recorded.get(vignette.id) ?? (await playedSituations(loaded, vignette)).situations
    const nights = situations.map(situation => {
      const kept = pinned.get(situation.id)
      return nightOf(situation, [...waysOf(situation, line, new Set([AS_IT_WAS, ...(kept?.keys() ?? [])]))])
    })
    byVignette.set(vignette.id, nights)
  }
  return {
    of: id => byVignette.get(id) ?? [],
    differing(mutant, set) {
      const edited = lineOn(loaded, set)
      const nights = vignettes.flatMap(({ id }) => (byVignette.get(id) ?? []).map(night => ({ id, night })))
      const differing = new Set<string>()
      for (const { id, night } of nights) {
        if (differing.size < DIFFERING_MOST && firstOtherwise(night, edited, mutant, isAsItWas) !== undefined)
          differing.add(id)
      }
      for (const { night } of differing.size > 0 ? [] : nights) {
        const first = firstOtherwise(night, edited, mutant, name => !isAsItWas(name))
        if (first !== undefined) return { differing: [], first }
      }
      return { differing: [...differing], first: differing.size > 0 ? [...differing].join(', ') : undefined }
    },
  }
}

const isAsItWas = (name: string): boolean => name === AS_IT_WAS

function nightOf(situation: Situation, ways: readonly Way[]): Night {
  const asItWas = ways.find(({ name }) => isAsItWas(name))
  return {
    situation,
    ways: new Map(ways.map(way => [way.name, { print: printOf(way), says: adviceIn(way), entered: way.entered }])),
    says: asItWas === undefined ? new Set() : adviceIn(asItWas),
  }
}

const adviceIn = ({ told }: Way): ReadonlySet<string> =>
  new Set(told.flatMap(line => [...line.matchAll(/(\S+)\(/g)].flatMap(([, id]) => id ?? [])))

/** The first of the ways looked at that goes otherwise. */
function firstOtherwise(
  { situation, ways }: Night,
  edited: ReturnType<typeof lineOn>,
  { step, flow, advice }: Mutant,
  isLookedAt: (name: string) => boolean,
): string | undefined {
  if (flow !== undefined && step === undefined && situation.opening.concern !== flow) return undefined
  const isWanted = (name: string) => {
    const way = ways.get(name)
    if (way === undefined || !isLookedAt(name)) return false
    return (step === undefined || way.entered.has(step)) && (advice === undefined || way.says.has(advice))
  }
  const wanted = new Set([...ways.keys()].filter(isWanted))
  if (wanted.size === 0) return undefined
  for (const way of waysOf(situation, edited, wanted))
    if (ways.get(way.name)?.print !== printOf(way)) return `${situation.id}, ${way.name}`
  return undefined
}
