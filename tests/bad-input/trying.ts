import { expect } from 'vitest'
import type { Answered, Family, NightLine, Shown } from './night-line.ts'

/** One bad input as it went: a row of docs/safety/bad-inputs.md. */
export interface Row {
  readonly where: string
  readonly sent: string
  /** Word for word what the person reads. */
  readonly shown: string
}

/** A class of bad input, what the bot promises for it, and the trying of it against the whole bot. */
export interface BadInput {
  readonly id: string
  readonly name: string
  readonly happens: string
  run(line: NightLine): Promise<readonly Row[]>
}

/** The question that comes next; a pattern where its times depend on when it is asked, which are then left out of the page. */
export interface Asks {
  readonly reads: string | RegExp
}

/** First lines of replies, as shipped in flows/shared/wording.en.yaml. */
export const SAYS = {
  danger: 'Ring 911 now. Say your child has a feeding tube. Tell them the sign.',
  person: 'A person has been asked for. You can also ring right now.',
  noWords: 'We could not read that. Choose an answer, or write a few words.',
  notAnOption: 'That did not fit the question. Choose an answer. "Not sure" is a good answer.',
  tooLong: 'That was too long to read. Write it in one short line.',
  nothingWritten: 'Nothing was written. Write a few words, or tap a button.',
  before: 'That was answered before. Here is where we are.',
  unreadable: 'That could not be read. It was not taken. Go back and try once more, or ring a number below.',
  tooBig: 'That was too long. It was not taken. Write it in a few short lines, or ring a number below.',
  busy: 'The line is very busy. Your last message was not taken. Wait a few seconds and send it again, or ring a number below.',
  otherSite:
    'That came from another site. It was not taken. Tap below and send it from our own page, or ring a number below.',
} as const

const ASKS: Readonly<Record<string, string>> = {
  'in-opening': 'what is in the opening',
  'danger-signs': 'danger signs',
  device: 'kind of tube',
  'out-since': 'when it came out',
  travel: 'how long to the hospital',
  'ring-back': 'number to ring',
  'first-placed': 'when the first tube was put in',
  'have-you-left': 'have you left',
  'have-you-arrived': 'have you arrived',
}

const PLAIN: Readonly<Record<string, string>> = {
  'in-opening': 'nothing',
  'danger-signs': 'none',
  device: 'balloon-long',
  'out-since': 'half-to-one-hour',
  travel: 'up-to-30-minutes',
  'ring-back': 'write-only',
  'first-placed': 'over-three-months',
  'fasting-risk': 'none',
  'have-you-left': 'yes',
}

/** A family whose tube came out, at the question for `fact`. */
export async function familyAt(line: NightLine, fact: string): Promise<Family> {
  const family = line.family()
  await family.say('her tube came out')
  for (let turn = 0; turn < 30; turn += 1) {
    const open = (await family.state())?.open
    if (open?.fact === fact && open.readBack === undefined) return family
    if (open === undefined) break
    await family.tap(open.readBack === undefined ? (PLAIN[open.fact] ?? 'not-sure') : 'yes', open.serial)
  }
  throw new Error(`no way to the question "${fact}"; the last was ${(await family.state())?.open?.fact}`)
}

/** What stands on the screen, as one row's text: the first line of the answer, then what is asked. */
export function screenOf(shown: Shown): string {
  const said = shown.refusal ?? shown.reply[0]
  const asked = shown.question === undefined ? undefined : `asked: ${shown.question}`
  return masked([said, asked].filter(part => part !== undefined).join(' / '))
}

const masked = (text: string): string => text.replace(/\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4}\b/g, '$1 0000')

/** Whatever was sent: there is an answer, it is plain, and both numbers can be tapped under it. */
export function expectAnswered(shown: Shown, what: string): void {
  expect(shown.refusal ?? shown.reply[0] ?? shown.question, `silence after ${what}`).toBeTruthy()
  expect(shown.markup, what).toContain('href="tel:911"')
  expect(shown.markup, what).toContain('href="tel:+12125550110"')
  const said = [...shown.reply, shown.question ?? '', shown.refusal ?? ''].join('\n')
  expect(said, what).not.toMatch(/undefined|\[object|NaN|Error:|\{\w+\}/)
}

/** Sends words to a question (or as a first message) and expects the first line said. */
export async function saying(
  line: NightLine,
  where: 'first message' | (string & {}),
  words: string,
  expected: string | RegExp | Asks,
  sent = words,
): Promise<Row> {
  const family = where === 'first message' ? line.family() : await familyAt(line, where)
  const answer = await family.say(words)
  return checked(where, sent, answer, expected)
}

export function checked(where: string, sent: string, answer: Answered, expected: string | RegExp | Asks): Row {
  expectAnswered(answer, sent)
  const place = ASKS[where] ?? where
  if (typeof expected === 'string') {
    const found = answer.refusal ?? answer.reply.find(text => text === expected) ?? answer.reply[0]
    expect(found, sent).toBe(expected)
    return { where: place, sent, shown: screenOf({ ...answer, refusal: expected }) }
  }
  if (expected instanceof RegExp) expect(answer.refusal ?? answer.reply.join('\n'), sent).toMatch(expected)
  else if (typeof expected.reads === 'string') expect(answer.question, sent).toBe(expected.reads)
  else {
    expect(answer.question, sent).toMatch(expected.reads)
    return { where: place, sent, shown: screenOf(answer).replace(/\d{1,2}:\d\d/g, 'H:MM') }
  }
  return { where: place, sent, shown: screenOf(answer) }
}

/** The same for many words at one place. */
export async function each(
  line: NightLine,
  where: string,
  cases: readonly (readonly [words: string, expected: string | RegExp | Asks, sent?: string])[],
): Promise<Row[]> {
  const rows: Row[] = []
  for (const [words, expected, sent] of cases) rows.push(await saying(line, where, words, expected, sent ?? words))
  return rows
}
