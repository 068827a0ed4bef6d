/** One thing wrong in a file a clinic wrote. Line and column count from 1. */
export interface Problem {
  readonly code: string
  readonly file: string
  readonly line: number
  readonly column: number
  /** What stands there, or what is missing. */
  readonly found: string
  readonly expected: string
  /** The nearest valid id, where there is one. */
  readonly nearest?: string
  readonly severity: 'problem' | 'warning'
}

/** `file:line:column CODE found; expected …; did you mean …?` – one line for a terminal. */
export function problemText(problem: Problem): string {
  const nearest = problem.nearest === undefined ? '' : `; did you mean "${problem.nearest}"?`
  const place = `${problem.file}:${problem.line}:${problem.column}`
  const mark = problem.severity === 'warning' ? ' (warning)' : ''
  return `${place} ${problem.code}${mark}: ${problem.found}; expected ${problem.expected}${nearest}`
}

/** Number of single-letter edits between two ids. */
function editsBetween(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, i) => i)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) {
      const swap = (row[j - 1] ?? 0) + (a[i - 1] === b[j - 1] ? 0 : 1)
      next.push(Math.min((row[j] ?? 0) + 1, (next[j - 1] ?? 0) + 1, swap))
    }
    row = next
  }
  return row[b.length] ?? 0
}

/** The valid id most like `id`, or undefined when none is at all alike. */
export function nearestId(id: string, valid: Iterable<string>): string | undefined {
  let best: string | undefined
  let bestEdits = Math.max(2, Math.floor(id.length / 2)) + 1
  for (const candidate of valid) {
    const edits = editsBetween(id, candidate)
    if (edits < bestEdits) {
      best = candidate
      bestEdits = edits
    }
  }
  return best
}
