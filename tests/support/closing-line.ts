import { writeFileSync } from 'node:fs'
import type { SerializedError } from 'vitest'
import type { Reporter, TestModule, TestRunEndReason, TestSuite } from 'vitest/node'

/**
 * Ends a run with `N passed, N failed, N skipped`. Beside failed tests it counts as a failure each file that could not
 * be read, each suite whose set-up failed, each unhandled error, and a run that was cut short: vitest's own counts
 * leave those out. Written to the file named by CLOSING_LINE_FILE where that is set, else printed.
 */
export class ClosingLine implements Reporter {
  onTestRunEnd(modules: readonly TestModule[], errors: readonly SerializedError[], reason: TestRunEndReason): void {
    const tests = modules.flatMap(module => [...module.children.allTests()])
    const count = (state: string) => tests.filter(test => test.result().state === state).length
    const broken = modules.flatMap(groupsOf).filter(group => group.errors().length > 0).length
    const found = count('failed') + broken + errors.length
    const failed = found === 0 && reason !== 'passed' ? 1 : found
    for (const test of tests)
      if (test.diagnostic()?.flaky === true) console.log(`Passed at the second try: ${test.fullName}`)
    const skipped = tests.length - count('passed') - count('failed')
    const line = `${count('passed')} passed, ${failed} failed, ${skipped} skipped\n`
    const file = process.env.CLOSING_LINE_FILE
    if (file === undefined) process.stdout.write(line)
    else writeFileSync(file, line)
  }
}

function groupsOf(module: TestModule): (TestModule | TestSuite)[] {
  return [module, ...module.children.allSuites()]
}
