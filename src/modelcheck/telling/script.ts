/**
 * A conversation as a script that is played again on the running bot (`smallhours talk --script`): what the family does,
 * one line each, and from a line on what must not, or must, happen.
 */
import { DISPOSITIONS } from '../../flow/document.ts'
import type { Condition, Goal, Happening, RuleDocument } from '../../flow/rule-document.ts'

/** One thing the family does, or time that passes. */
export type Act =
  | { readonly kind: 'start'; readonly concern: string }
  /** Said with the first message, or on the child's record; values as in a tap. */
  | { readonly kind: 'knows'; readonly fact: string; readonly values: readonly string[] }
  | { readonly kind: 'tap'; readonly fact: string; readonly values: readonly string[] }
  /** Typed words in answer to a question; a time that is read back is confirmed. */
  | { readonly kind: 'write'; readonly fact: string; readonly text: string }
  | { readonly kind: 'change'; readonly fact: string }
  /** Words that answer nothing. */
  | { readonly kind: 'say'; readonly text: string }
  | { readonly kind: 'control'; readonly control: (typeof CONTROLS)[number] }
  | { readonly kind: 'wait'; readonly minutes: number }

/** Controls by the words that a terminal knows them by. */
const CONTROLS = ['person', "can't travel", 'wrong tap'] as const

/** From where it stands to the end of the script: `must` happen, or `never`. */
export interface Wanted {
  readonly sense: 'must' | 'never'
  readonly what: Goal
}

export type ScriptLine =
  | { readonly kind: 'at'; readonly at: string }
  | { readonly kind: 'policy'; readonly policy: string; readonly value: string }
  /** Language of the screen that the family writes on. */
  | { readonly kind: 'language'; readonly language: string }
  | { readonly kind: 'act'; readonly act: Act }
  | { readonly kind: 'wanted'; readonly wanted: Wanted }
  /** A line as a family types it at a terminal. */
  | { readonly kind: 'typed'; readonly text: string }

/** What of a rule shows in a conversation: from its last turn on, or from where silence begins. */
export function wantedOf(rule: RuleDocument): readonly Wanted[] {
  const never = (what: Goal): readonly Wanted[] => [{ sense: 'never', what }]
  if (rule.absence !== undefined) return never(rule.absence)
  if (rule.precedence !== undefined) return never(rule.precedence.of)
  if (rule.existence !== undefined && rule.before !== undefined) return never(rule.before)
  if (rule.universality !== undefined) return [{ sense: 'must', what: { holds: rule.universality } }]
  const goals = rule.response === undefined ? [] : [rule.response.must].flat()
  return goals.map(what => ({ sense: 'must', what }))
}

// ---- As text ----

export function actText(act: Act): string {
  switch (act.kind) {
    case 'start':
      return `start ${act.concern}`
    case 'knows':
    case 'tap':
      return `${act.kind} ${act.fact} ${act.values.join(' ')}`
    case 'write':
      return `write ${act.fact} ${act.text}`
    case 'change':
      return `change ${act.fact}`
    case 'say':
      return act.text
    case 'control':
      return act.control
    case 'wait':
      return `wait ${act.minutes}`
  }
}

export function wantedText({ sense, what }: Wanted): string {
  return `${sense} ${goalText(what)}`
}

const goalText = (goal: Goal): string => ('holds' in goal ? `hold ${partsText(goal.holds)}` : partsText(goal))

const partsText = (parts: Readonly<Record<string, unknown>>): string =>
  Object.entries(parts)
    .filter(([key]) => !NOT_SEEN.includes(key))
    .map(([key, value]) => (value === true ? key : `${key} ${[value].flat().join(' ')}`))
    .join(' and ')

/** Parts of a happening that are the family's own doing or the clock's: the script does them, nobody looks for them. */
const NOT_SEEN: readonly string[] = ['family', 'answers', 'alarm']

// ---- From text ----

const ID = '[a-z0-9]+(?:-[a-z0-9]+)*'
const ANSWER = new RegExp(`^(tap|knows) (${ID})((?: ${ID})+)$`)
const WRITE = new RegExp(`^write (${ID}) (.+)$`)
const CHANGE = new RegExp(`^change (${ID})$`)
const START = new RegExp(`^start (${ID})$`)
const POLICY = new RegExp(`^policy (${ID}) (${ID})$`)

/** A line that reads as a command of scripts but cannot be taken. */
export class ScriptBroken extends Error {
  override readonly name = 'ScriptBroken'
}

/** Reads a script; empty lines and comments are left out. @throws ScriptBroken with the number of the line */
export function readScript(text: string): readonly ScriptLine[] {
  return text.split('\n').flatMap((raw, index) => {
    const line = raw.trim()
    return line === '' || line === '#' || line.startsWith('# ') ? [] : [readLine(line, index + 1)]
  })
}

function readLine(line: string, number: number): ScriptLine {
  const act = (one: Act): ScriptLine => ({ kind: 'act', act: one })
  const answer = ANSWER.exec(line)
  if (answer !== null) {
    const [, kind = 'tap', fact = '', values = ''] = answer
    return act({ kind: kind === 'knows' ? 'knows' : 'tap', fact, values: values.trim().split(' ') })
  }
  const write = WRITE.exec(line)
  if (write !== null) return act({ kind: 'write', fact: write[1] ?? '', text: write[2] ?? '' })
  const start = START.exec(line)
  if (start !== null) return act({ kind: 'start', concern: start[1] ?? '' })
  const change = CHANGE.exec(line)
  if (change !== null) return act({ kind: 'change', fact: change[1] ?? '' })
  const wait = /^wait (\d{1,4})$/.exec(line)
  if (wait !== null) return act({ kind: 'wait', minutes: Number(wait[1]) })
  const policy = POLICY.exec(line)
  if (policy !== null) return { kind: 'policy', policy: policy[1] ?? '', value: policy[2] ?? '' }
  const language = /^language ([a-z]{2})$/.exec(line)
  if (language !== null) return { kind: 'language', language: language[1] ?? '' }
  const at = /^at (\d{4}-\d\d-\d\dT\S+)$/.exec(line)
  if (at !== null) return { kind: 'at', at: at[1] ?? '' }
  const wanted = /^(must|never) ((?:says|decides|pages|asks|rests|ends|hold)\b.*)$/.exec(line)
  if (wanted === null) return { kind: 'typed', text: line }
  return {
    kind: 'wanted',
    wanted: { sense: wanted[1] === 'must' ? 'must' : 'never', what: goalIn(wanted[2] ?? '', number) },
  }
}

function goalIn(text: string, number: number): Goal {
  const isHold = text.startsWith('hold ')
  const parts = (isHold ? text.slice('hold '.length) : text).split(' and ').map(part => part.trim().split(/\s+/))
  const entries = parts.map(([key = '', ...values]): [string, unknown] => {
    if (isHold) {
      if (values.length === 0) throw broken(number, `"${key}" and nothing it should be`, 'a fact and its values')
      return [key, values]
    }
    return [key, partValue(key, values, number)]
  })
  return isHold ? { holds: Object.fromEntries(entries) as Condition } : (Object.fromEntries(entries) as Happening)
}

function partValue(key: string, values: readonly string[], number: number): unknown {
  switch (key) {
    case 'rests':
    case 'ends':
      return true
    case 'decides':
      if (values.length === 1 && (DISPOSITIONS as readonly string[]).includes(values[0] ?? '')) return values[0]
      throw broken(number, `"decides ${values.join(' ')}"`, `one of ${DISPOSITIONS.join(', ')}`)
    case 'says':
    case 'pages':
    case 'asks':
      if (values.length === 0) throw broken(number, `"${key}" and nothing after it`, 'ids, or "any"')
      return values.length === 1 && values[0] === 'any' ? 'any' : values
    default:
      throw broken(number, `"${key}"`, 'says, decides, pages, asks, rests or ends')
  }
}

const broken = (number: number, found: string, expected: string): ScriptBroken =>
  new ScriptBroken(`line ${number}: ${found} stands there, and ${expected} was expected`)
