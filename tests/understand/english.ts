import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import type { Option, Question } from '../../src/case/message.ts'
import type { FactDocument } from '../../src/flow/document.ts'
import { factsFileSchema } from '../../src/flow/document.ts'
import { instant, minutes } from '../../src/time/instant.ts'
import { lexiconOf } from '../../src/understand/lexicon.ts'
import type { TimeReader } from '../../src/understand/moment.ts'
import { understand } from '../../src/understand/understand.ts'
import type { UnderstandContext, Understood } from '../../src/understand/understood.ts'

const shared = (name: string): unknown =>
  parse(readFileSync(fileURLToPath(new URL(`../../flows/shared/${name}`, import.meta.url)), 'utf8'), { version: '1.2' })

export const english = lexiconOf(shared('lexicon.en.yaml'))
export const facts: Readonly<Record<string, FactDocument>> = factsFileSchema.parse(shared('facts.yaml')).facts

/** 02:10 in New York. */
export const AT = instant(Date.parse('2026-03-01T07:10:00Z'))

/** Reads "N minutes ago" and "N minutes" only: enough to see that words reach the reader of times and come back. */
export const minutesOnly: TimeReader = {
  readMoment: (text, { at }) => {
    const ago = /^\D*(\d+) min\w* ago$/.exec(text)
    return ago === null
      ? { kind: 'ask', reason: 'time-unclear' }
      : {
          kind: 'between',
          earliest: instant(at - minutes(Number(ago[1]) + 5)),
          latest: instant(at - minutes(Number(ago[1]))),
        }
  },
  readDate: () => ({ kind: 'ask', reason: 'time-future' }),
  readDuration: text => {
    const length = /(\d+) min/.exec(text)
    return length === null
      ? { kind: 'ask', reason: 'no-such-reason' }
      : { kind: 'length', atLeastMs: minutes(Number(length[1])), atMostMs: minutes(Number(length[1])) }
  },
}

const ACCEPTS = {
  choice: 'words',
  many: 'words',
  moment: 'moment',
  date: 'date',
  length: 'duration',
  number: 'number',
  phone: 'phone',
} as const

/** The question a fact of flows/shared/facts.yaml asks, labels being its values in words unless given. */
export function questionOn(fact: string, labels: Readonly<Record<string, string>> = {}): Question {
  const document = facts[fact]
  if (document === undefined) throw new Error(`no fact ${fact}`)
  const values = [...(document.values ?? Object.keys(document.taps ?? {})), 'not-sure']
  const options = values.map((value): Option => ({ value, label: labels[value] ?? value.replaceAll('-', ' ') }))
  return {
    kind: 'question',
    serial: 7,
    fact,
    text: fact,
    options,
    several: document.kind === 'many',
    accepts: ACCEPTS[document.kind],
  }
}

export function contextOn(fact?: string, more: Partial<UnderstandContext> = {}): UnderstandContext {
  const document = fact === undefined ? undefined : facts[fact]
  return {
    lexicon: english,
    at: AT,
    zone: 'America/New_York',
    defaultRegion: 'US',
    times: minutesOnly,
    ...(fact === undefined || document === undefined
      ? {}
      : { question: questionOn(fact), fact: { ...document, id: fact } }),
    ...more,
  }
}

/** Typed words, with a question open or none. */
export const typed = (text: string, fact?: string, more?: Partial<UnderstandContext>): Understood =>
  understand({ kind: 'text', text }, contextOn(fact, more))

export const tap = (
  values: readonly string[],
  fact?: string,
  serial = 7,
  more?: Partial<UnderstandContext>,
): Understood => understand({ kind: 'choice', serial, values }, contextOn(fact, more))
