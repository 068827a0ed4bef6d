/** Findings that a clinic silences, each with a reason and a name: what they silence, and which of them say nothing true. */

import type { Placed } from './flow-sources.ts'
import type { LintException, LintRules } from './lint-document.ts'
import type { Problem } from './problem.ts'
import { unknownId } from './yaml-places.ts'

/** One finding that somebody silenced. */
export interface Silenced extends LintException {
  readonly file: string
  readonly line: number
}

/** The exceptions of one folder, and which of them were needed. */
export interface Silencing {
  /** Whether the finding about the text is silenced here. Asking marks the exception as needed. */
  silences(text: string, finding: string, language: string): boolean
  /** Exceptions that were needed, in the order of the file. */
  silenced(): readonly Silenced[]
  /** What is wrong with the exceptions themselves, once every text has been asked about. */
  problems(texts: ReadonlySet<string>): Problem[]
}

/** For one folder. No file: nothing is silenced. A finding that is `always` told is never silenced. */
export function silencingOf(placed: Placed<LintException[]> | undefined, rules: LintRules): Silencing {
  const entries = placed?.value ?? []
  const needed = new Set<number>()
  return {
    silences(text, finding, language) {
      if (rules.findings[finding]?.always === true) return false
      const fits = entries.flatMap((one, i) =>
        one.text === text && one.finding === finding && (one.language ?? language) === language ? [i] : [],
      )
      for (const i of fits) needed.add(i)
      return fits.length > 0
    },
    silenced: () =>
      entries.flatMap((one, i) =>
        needed.has(i) && placed !== undefined
          ? [{ ...one, file: placed.yaml.file, line: placed.yaml.place([i]).line }]
          : [],
      ),
    problems(texts) {
      if (placed === undefined) return []
      return entries.flatMap((one, i) => {
        if (!texts.has(one.text)) return [unknownId(placed.yaml, [i, 'text'], 'text', one.text, texts)]
        if (!(one.finding in rules.findings))
          return [unknownId(placed.yaml, [i, 'finding'], 'finding', one.finding, Object.keys(rules.findings))]
        const place = { file: placed.yaml.file, ...placed.yaml.place([i]) }
        if (rules.findings[one.finding]?.always === true)
          return [
            {
              ...place,
              code: 'EXCEPTION_REFUSED',
              found: `an exception from "${one.finding}" for "${one.text}"`,
              expected: 'no exception: this finding cannot be silenced',
              severity: 'problem' as const,
            },
          ]
        if (needed.has(i)) return []
        return [
          {
            ...place,
            code: 'EXCEPTION_UNUSED',
            found: `"${one.text}" has no finding "${one.finding}" to silence`,
            expected: 'the exception taken out, so that it hides nothing later',
            severity: 'warning' as const,
          },
        ]
      })
    },
  }
}

/** One line for a terminal: what is silenced, why, and by whom. */
export function silencedText(one: Silenced): string {
  const language = one.language === undefined ? '' : ` in ${one.language}`
  return `${one.file}:${one.line} "${one.text}"${language}: ${one.finding} silenced by ${one.by}: ${one.reason}`
}
