/** Figures of a check kept for a page: of which content they are, and what was walked. Seconds are left out. */
import { existsSync, readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import type { FlowReport } from '../modelcheck/rules/findings.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Checked } from './check-run.ts'

export interface CheckFigures {
  /** Digest of the flows and rules that were walked. */
  readonly content: string
  readonly flows: readonly FlowFigures[]
}

export interface FlowFigures {
  readonly flow: string
  readonly policies: Readonly<Record<string, string>>
  readonly walked: FlowReport['walked']
  readonly states: number
  readonly transitions: number
  readonly rules: readonly string[]
  readonly broken: readonly string[]
  readonly questions: FlowReport['questions']
  /** Rules whose subject came up, with the number of moves to it. */
  readonly witnesses: Readonly<Record<string, number>>
  readonly notWhole?: string
}

export function figuresOf(checked: Checked, files: ReadonlyMap<string, string>): CheckFigures {
  return {
    content: contentOf(files),
    flows: (checked.report?.flows ?? []).map(one => ({
      flow: one.flow,
      policies: one.policies,
      walked: one.walked,
      states: one.states,
      transitions: one.transitions,
      rules: one.rules,
      broken: [...new Set(one.findings.map(({ rule }) => rule))],
      questions: one.questions,
      witnesses: Object.fromEntries(one.witnesses.map(({ rule, way }) => [rule, way.length])),
      ...(one.notWhole === undefined ? {} : { notWhole: one.notWhole }),
    })),
  }
}

/** Digest of what a walk depends on: steps, facts, advice with its tags, and rules. Words and comments are not in it. */
export function contentOf(files: ReadonlyMap<string, string>): string {
  const read = [...files]
    .filter(([path]) => !/\/(wording|lexicon|lint)/.test(path))
    .toSorted(([a], [b]) => (a < b ? -1 : 1))
  return sha256(JSON.stringify(read.map(([path, text]) => [path, withoutComments(text)])))
}

const withoutComments = (text: string): string =>
  text
    .split('\n')
    .filter(line => line.trim() !== '' && !line.trim().startsWith('#'))
    .join('\n')

const FIGURES = fileURLToPath(new URL('../../docs/figures/flows.json', import.meta.url))

/** The figures last written; undefined where there are none. */
export function storedFigures(): CheckFigures | undefined {
  return existsSync(FIGURES) ? (JSON.parse(readFileSync(FIGURES, 'utf8')) as CheckFigures) : undefined
}
