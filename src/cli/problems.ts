import { type Problem, problemText } from '../flow/problem.ts'
import { complain } from './command.ts'

/** Prints every problem, one a line; answers whether any stands in the way. */
export function reportProblems(problems: readonly Problem[]): boolean {
  for (const problem of problems) complain(problemText(problem))
  const grave = problems.filter(problem => problem.severity === 'problem').length
  if (problems.length > 0) complain(`${grave} to mend, ${problems.length - grave} to look at`)
  return grave > 0
}
