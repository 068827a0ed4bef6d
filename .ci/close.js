// close.js LOG STATUS: prints the last `N passed, N failed` of a log once more as the last line, and exits to match.
// Without such a line: `0 passed, 1 failed`. Where a command failed (STATUS is not 0) and 0 failed is claimed: 1 failed.
// Where nothing passed and nothing failed, no test ran: 1 failed.
import { readFileSync } from 'node:fs'

const [log, status] = process.argv.slice(2)
const counts = lastCounts(textOf(log)) ?? { passed: 0, failed: 1, skipped: 0 }
const isWrong = status !== '0' || counts.passed === 0
const failed = isWrong && counts.failed === 0 ? 1 : counts.failed
console.log(`${counts.passed} passed, ${failed} failed${counts.skipped > 0 ? `, ${counts.skipped} skipped` : ''}`)
process.exit(failed === 0 ? 0 : 1)

function textOf(file) {
  try {
    return readFileSync(file, 'utf8')
  } catch (error) {
    console.log(`The log of the run cannot be read: ${error.message}`)
    return ''
  }
}

function lastCounts(text) {
  const lines = [...text.matchAll(/^(\d+) passed, (\d+) failed(?:, (\d+) skipped)?\r?$/gm)]
  const last = lines.at(-1)
  return last && { passed: Number(last[1]), failed: Number(last[2]), skipped: Number(last[3] ?? 0) }
}
