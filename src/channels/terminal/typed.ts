import type { Control, Incoming, Question } from '../../case/message.ts'
import { tapped } from '../text-taps.ts'

/** What one typed line means. */
export type Typed =
  | { readonly kind: 'send'; readonly body: Incoming['body'] }
  /** `wait 20`: let so many minutes pass (a hand-moved clock). */
  | { readonly kind: 'wait'; readonly minutes: number }
  | { readonly kind: 'help' }
  | { readonly kind: 'quit' }
  /** A line to skip: a comment of a script. */
  | { readonly kind: 'nothing' }

/** Commands that are controls; `change` takes the fact after it. */
const COMMANDS: Readonly<Record<string, Control>> = {
  person: 'person',
  'they rang': 'they-rang',
  "can't travel": 'cannot-travel',
  'cannot travel': 'cannot-travel',
  'wrong tap': 'wrong-tap',
  'new child': 'new-child',
  desk: 'show-handover',
  again: 'start',
}

/**
 * Reads one line: a command by its exact words, a number (or several, `1 3`, where several fit) as a tap on the open
 * question, anything else as the caregiver's own words.
 */
export function typed(line: string, question: Question | undefined): Typed {
  const words = line.trim()
  const low = words.toLowerCase()
  if (low.startsWith('# ') || low === '#') return { kind: 'nothing' }
  if (low === 'help' || low === '?') return { kind: 'help' }
  if (low === 'quit') return { kind: 'quit' }
  const wait = /^wait (\d{1,4})$/.exec(low)?.[1]
  if (wait !== undefined) return { kind: 'wait', minutes: Number(wait) }
  const command = Object.hasOwn(COMMANDS, low) ? COMMANDS[low] : undefined
  if (command !== undefined) return { kind: 'send', body: { kind: 'control', control: command } }
  const changed = /^change ([a-z][a-z0-9-]*)$/.exec(low)?.[1]
  if (changed !== undefined) return { kind: 'send', body: { kind: 'control', control: 'change', subject: changed } }
  const values = question === undefined ? undefined : tapped(words, question)
  if (question !== undefined && values !== undefined) {
    return { kind: 'send', body: { kind: 'choice', serial: question.serial, values } }
  }
  return { kind: 'send', body: { kind: 'text', text: line } }
}
