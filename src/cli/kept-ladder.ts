/** What the walk of the call-out ladder showed, kept between checks: nobody's edit of a flow for blocked tubes changes it. */
import { pagingAtOnce, walkLadders } from '../modelcheck/model/ladder.ts'
import type { LadderReport } from '../modelcheck/rules/findings.ts'
import { letOldestGo, WALKING_CODE, walkedOf } from './kept-checks.ts'
import { digest, isJson, keptIn, keptPath, programMark, writeKept } from './kept-file.ts'
import type { LoadedLine } from './load-line.ts'

/**
 * Walks the ladder, unless nothing it depends on has changed since it last was: the program, the clinic and its settings, the facts, and
 * the flow in which a page goes out at once.
 *
 * @param isAfresh  walks it in any case
 */
export function ladderKept(
  loaded: LoadedLine,
  isAfresh: boolean,
  walk: typeof walkLadders = walkLadders,
  folder: string = keptPath('ladder'),
): readonly LadderReport[] {
  const { find, keep } = keptLadder(loaded, folder)
  const kept = isAfresh ? undefined : find()
  if (kept !== undefined) return kept
  const walked = walk(loaded.line)
  keep(walked)
  return walked
}

export interface KeptLadder {
  find(): readonly LadderReport[] | undefined
  keep(walked: readonly LadderReport[]): void
}

export function keptLadder({ line }: LoadedLine, folder: string = keptPath('ladder')): KeptLadder {
  const program = programMark(WALKING_CODE)
  const { flows: set, settings, clinic } = line
  const flow = set.flows.get(pagingAtOnce(set))
  const about = flow === undefined ? undefined : walkedOf(flow)
  const { facts, derived, policies, tags } = set
  const file = `${folder}/${digest(JSON.stringify([program, facts, derived, policies, tags, settings, clinic, about ?? 'none']))}`
  return {
    find: () => (program === undefined ? undefined : (keptIn(file) as readonly LadderReport[] | undefined)),
    keep(walked) {
      if (program === undefined || !isJson(walked)) return
      writeKept(file, JSON.stringify(walked))
      letOldestGo(file)
    },
  }
}
