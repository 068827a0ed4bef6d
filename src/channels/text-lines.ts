import type { Drawing, Outgoing, Part, Question } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'
import { plainText } from './text-plain.ts'
import { optionMark, orderedOptions } from './text-taps.ts'
import type { FamilyFoot, Wording } from './web-page.ts'
import { shownNumber } from './web-page.ts'

/** What a reply is printed with. */
export interface LinesFrame {
  readonly wording: Wording
  readonly clockText: (at: Instant) => string
  readonly foot: FamilyFoot
}

/** One reply as lines: time and speaker, advice numbered, the question last with its options numbered, the numbers. */
export function replyLines(outgoing: Outgoing, frame: LinesFrame): string[] {
  const { wording, clockText, foot } = frame
  const person = outgoing.parts.find(part => part.kind === 'person')
  const speaker =
    person === undefined
      ? wording('speaker-bot')
      : wording('speaker-clinician', { clinician: person.name, clinicianRole: person.role })
  const repeated = outgoing.repeated ? ` (${wording('terminal-repeated')})` : ''
  return [
    '',
    `${clockText(outgoing.at)}  ${plainText(speaker)}${repeated}`,
    ...partLines(outgoing.parts, frame),
    `  ${numbersLine(foot)}`,
  ]
}

/**
 * Parts as lines; the advice of a reply is numbered from 1 to its end, one alone is not numbered.
 * @param isDrawn  whether the channel shows a drawing itself: its words are then left out
 */
export function partLines(
  parts: readonly Part[],
  frame: Pick<LinesFrame, 'wording'>,
  isDrawn: (drawing: Drawing) => boolean = () => false,
): string[] {
  const isNumbered = parts.filter(part => part.kind === 'advice').length > 1
  let number = 0
  return parts.flatMap(part => {
    if (part.kind === 'advice') number += 1
    return partLine(part, isNumbered ? `${number}. ` : '', frame.wording, isDrawn).flatMap(line =>
      plainText(line)
        .split('\n')
        .map(l => `  ${l}`),
    )
  })
}

function partLine(part: Part, mark: string, wording: Wording, isDrawn: (drawing: Drawing) => boolean): string[] {
  switch (part.kind) {
    case 'advice':
      return [`${mark}${part.text}`, ...drawingLines(part.drawing, isDrawn)]
    case 'notice':
      return [part.text]
    case 'withdrawn':
      return [`! ${part.text}`]
    case 'person':
      return [`"${part.text}"`]
    case 'question':
      return questionLines(part, wording)
  }
}

function questionLines(question: Question, wording: Wording): string[] {
  const beside = besideQuestion(question, wording)
  return [
    '',
    `? ${question.text}`,
    ...drawingLines(question.drawing, () => false),
    ...(beside === '' ? [] : [`  (${beside})`]),
    ...orderedOptions(question).map((option, i) => `  ${optionMark(question, i)} ${option.label}`),
    ...(question.several ? [`  ${wording('terminal-several')}`] : []),
  ]
}

/** Why a question is asked, and about how many more there are; empty where it says neither. */
export function besideQuestion({ why, more: count }: Question, wording: Wording): string {
  const more = count === undefined || count < 1 ? undefined : wording('more', { count })
  return [why, more].filter(text => text !== undefined).join(' · ')
}

/** What a drawing shows, in words: text has no pictures. */
const drawingLines = (drawing: Drawing | undefined, isDrawn: (drawing: Drawing) => boolean): string[] =>
  drawing === undefined || isDrawn(drawing) ? [] : [`   [${drawing.text}]`]

/** Both numbers on one line, under everything. */
export function numbersLine(foot: FamilyFoot): string {
  return plainText(
    [foot.emergency, foot.clinic]
      .map(n => `${n.label}: ${shownNumber(n)}${n.words === undefined ? '' : ` (${n.words})`}`)
      .join('   '),
  )
}
