import { type Silenced, silencedText } from '../flow/lint-exceptions.ts'
import { type Problem, problemText } from '../flow/problem.ts'
import { complain, print } from './command.ts'

/** Prints every problem, one a line; answers whether any stands in the way. */
export function reportProblems(problems: readonly Problem[]): boolean {
  for (const problem of problems) complain(problemText(problem))
  const grave = problems.filter(problem => problem.severity === 'problem').length
  if (problems.length > 0) complain(`${grave} to mend, ${problems.length - grave} to look at`)
  return grave > 0
}

/** Prints what somebody let pass of the words, with the reason, so that it is never forgotten. */
export function reportSilenced(silenced: readonly Silenced[]): void {
  if (silenced.length === 0) return
  print(`${silenced.length} finding${silenced.length === 1 ? '' : 's'} about words let pass, each for a reason:`)
  for (const one of silenced) print(`  ${silencedText(one)}`)
}
