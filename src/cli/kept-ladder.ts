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
  { line }: LoadedLine,
  isAfresh: boolean,
  walk: typeof walkLadders = walkLadders,
  folder: string = keptPath('ladder'),
): readonly LadderReport[] {
  const program = programMark(WALKING_CODE)
  const { flows: set, settings, clinic } = line
  const flow = set.flows.get(pagingAtOnce(set))
  const about = flow === undefined ? undefined : walkedOf(flow)
  const { facts, derived, policies, tags } = set
  const file = `${folder}/${digest(JSON.stringify([program, facts, derived, policies, tags, settings, clinic, about ?? 'none']))}`
  const kept = program === undefined || isAfresh ? undefined : (keptIn(file) as readonly LadderReport[] | undefined)
  if (kept !== undefined) return kept
  const walked = walk(line)
  if (program === undefined || !isJson(walked)) return walked
  writeKept(file, JSON.stringify(walked))
  letOldestGo(file)
  return walked
}
