/** An answer as a person reads it: in lists, on the handover, on a page. */
import type { Catalogue } from '../flow/wording.ts'
import type { Instant } from '../time/instant.ts'
import { clockText } from '../time/local-time.ts'
import { type Answer, lastDigitsOf } from './answer.ts'
import type { Line } from './line.ts'
import { agoText, lengthText } from './values.ts'

/** The answer's label; times in the clinic's zone, in its clock form or the one given. */
export function answerText(
  line: Line,
  wording: Catalogue,
  fact: string,
  answer: Answer,
  at: Instant,
  clock = line.clinic.clock,
): string {
  const label = (value: string) =>
    wording.has(`option/${fact}/${value}`) ? wording.text(`option/${fact}/${value}`) : value
  switch (answer.kind) {
    case 'unsure':
      return wording.text('option/not-sure')
    case 'choice':
      return label(answer.value)
    case 'many':
      return answer.values.map(label).join(', ')
    case 'length':
      return answer.atLeastMs === answer.atMostMs
        ? lengthText(answer.atMostMs, wording.language)
        : `${lengthText(answer.atLeastMs, wording.language)} – ${lengthText(answer.atMostMs, wording.language)}`
    case 'number':
      return String(answer.value)
    case 'phone':
      return answer.number === 'write-only' ? label('write-only') : `··${lastDigitsOf(answer.number)}`
    case 'moment':
      return momentText(line, wording.language, fact, answer, at, clock)
  }
}

function momentText(
  line: Line,
  language: string,
  fact: string,
  answer: Answer & { kind: 'moment' },
  at: Instant,
  clock: '12h' | '24h',
): string {
  if (line.flows.facts[fact]?.kind === 'date') return agoText(Math.max(0, at - answer.latest), language)
  const [from, to] = [answer.earliest, answer.latest].map(moment =>
    clockText(moment, line.clinic.zone, clock, language),
  )
  return from === to ? (from ?? '') : `${from}-${to}`
}
