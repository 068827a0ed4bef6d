import type { Drawing, Outgoing, Part, Question } from '../../case/message.ts'
import type { ToSend } from '../../telegram/connection.ts'
import { besideQuestion, numbersLine, partLines } from '../text-lines.ts'
import { plainText } from '../text-plain.ts'
import { orderedOptions } from '../text-taps.ts'
import type { FamilyFoot, Wording } from '../web-page.ts'
import { type ChatButtons, numberKeys } from './buttons.ts'

/** Longest text of one message, in UTF-16 units, and of a picture's caption (Bot API, sendMessage and sendPhoto). */
export const TEXT_MOST = 4_096
export const CAPTION_MOST = 1_024

/** One message of a reply. */
export type Piece =
  | { readonly kind: 'text'; readonly message: ToSend }
  | { readonly kind: 'drawing'; readonly png: Uint8Array; readonly caption: string; readonly silent: boolean }

export interface PiecesFrame {
  readonly wording: Wording
  readonly foot: FamilyFoot
  readonly buttons: ChatButtons
  /** The picture of a drawing; undefined where there is none, and its words are written instead. */
  drawing(id: string): Uint8Array | undefined
  /** Said once, at the end of the first reply of a case: who answers here and who can read it. */
  readonly first?: string
  /** The chat has keys under its box that belong to an earlier question. */
  readonly hasKeys: boolean
}

/**
 * A reply as messages: words with the numbers to ring under them, the drawings, and last the question with its options as
 * buttons. Without drawings it is one message. What is longer than a message may be is parted at lines.
 */
export function piecesOf(outgoing: Outgoing, frame: PiecesFrame): readonly Piece[] {
  const { wording, foot } = frame
  const question = outgoing.parts.findLast(part => part.kind === 'question')
  const said = outgoing.parts.filter(part => part.kind !== 'question')
  const pictures = drawingsOf(outgoing.parts).flatMap(drawing => {
    const png = frame.drawing(drawing.id)
    return png === undefined ? [] : [{ drawing, png }]
  })
  const answers = question === undefined ? [] : answersDrawn(question, frame)
  const isDrawn = (drawing: Drawing) => pictures.some(one => one.drawing.id === drawing.id)
  const silent = !outgoing.audible
  const words = [
    ...speakerOf(outgoing, wording),
    ...partLines(said, { wording }, isDrawn).map(line => line.trim()),
    ...(frame.first === undefined ? [] : ['', frame.first]),
  ]
  const asked = question === undefined ? [] : questionLines(question, wording)
  const numbers = ['', numbersLine(foot)]
  const ends = question === undefined ? {} : endOf(question, frame)
  const cleared = frame.hasKeys && ends.buttons === undefined && ends.keys === undefined ? { keys: [] } : {}
  if (pictures.length + answers.length === 0)
    return texts([...words, ...asked, ...numbers], { ...cleared, ...ends }, silent)
  const drawn = pictures.map(
    ({ drawing, png }): Piece => ({
      kind: 'drawing',
      png,
      caption: cut(plainText(drawing.text), CAPTION_MOST),
      silent: true,
    }),
  )
  if (question === undefined) return [...texts([...words, ...numbers], cleared, silent), ...drawn]
  // The question stands lowest, with the numbers under it.
  const first = words.length === 0 ? [] : texts([...words, ...numbers], {}, silent)
  return [...first, ...drawn, ...answers, ...texts([...asked, ...numbers], { ...cleared, ...ends }, true)]
}

function speakerOf(outgoing: Outgoing, wording: Wording): string[] {
  const person = outgoing.parts.find(part => part.kind === 'person')
  const who =
    person === undefined
      ? []
      : [`${plainText(wording('speaker-clinician', { clinician: person.name, clinicianRole: person.role }))}:`]
  return [...(outgoing.repeated ? [`(${wording('terminal-repeated')})`] : []), ...who]
}

function questionLines(question: Question, wording: Wording): string[] {
  const beside = besideQuestion(question, wording)
  return [
    '',
    ...plainText(question.text).split('\n'),
    ...(beside === '' ? [] : [`(${plainText(beside)})`]),
    ...(question.several ? [wording('several-hint')] : []),
  ]
}

const endOf = (question: Question, { buttons, wording }: PiecesFrame): Pick<ToSend, 'buttons' | 'keys'> =>
  question.accepts === 'phone'
    ? { keys: numberKeys(question, wording) }
    : question.options.length === 0
      ? {}
      : { buttons: buttons.question(question) }

/** The answers of a question in one picture, where each is drawn: numbered in the order of the buttons, the caption says which is which. */
function answersDrawn(question: Question, frame: PiecesFrame): readonly Piece[] {
  const options = orderedOptions(question).filter(({ apart }) => apart !== true)
  const ids = options.flatMap(({ drawing }) => (drawing === undefined ? [] : [drawing]))
  const png = ids.length < 2 || ids.length < options.length ? undefined : frame.drawing(answersId(ids))
  if (png === undefined) return []
  const caption = options.map(({ label }, index) => `${index + 1}. ${plainText(label)}`).join('\n')
  return [{ kind: 'drawing', png, caption: cut(caption, CAPTION_MOST), silent: true }]
}

/** Id of the picture that shows these drawings, in this order: a clinic that asks for others has no such picture. */
export const answersId = (drawings: readonly string[]): string => drawings.join('+')

/** Each drawing once, in the order it is spoken of. */
function drawingsOf(parts: readonly Part[]): readonly Drawing[] {
  const all = parts.flatMap(part =>
    (part.kind === 'advice' || part.kind === 'question') && part.drawing !== undefined ? [part.drawing] : [],
  )
  return [...new Map(all.map(drawing => [drawing.id, drawing])).values()]
}

/** Lines as messages; what stands under the last of them is given with it. */
function texts(lines: readonly string[], ends: Pick<ToSend, 'buttons' | 'keys'>, silent: boolean): readonly Piece[] {
  const parted = partedAtLines(
    lines
      .join('\n')
      .replaceAll(/\n{3,}/g, '\n\n')
      .trim(),
  )
  return parted.map(
    (text, index): Piece => ({
      kind: 'text',
      message: { text, ...(index === parted.length - 1 ? ends : {}), ...(silent ? { silent } : {}) },
    }),
  )
}

/** A text in parts of at most {@link TEXT_MOST} units: at the last line that fits, else at a character. */
export function partedAtLines(text: string): readonly string[] {
  const parts: string[] = []
  let rest = text
  while (rest.length > TEXT_MOST) {
    const line = rest.lastIndexOf('\n', TEXT_MOST)
    const at = line > 0 ? line : cut(rest, TEXT_MOST).length
    const part = rest.slice(0, at).trim()
    if (part !== '') parts.push(part)
    rest = rest.slice(at).trim()
  }
  return rest === '' ? parts : [...parts, rest]
}

/** At most so many units, never half a character. */
function cut(text: string, most: number): string {
  if (text.length <= most) return text
  const isHalf = /[\ud800-\udbff]/.test(text[most - 1] ?? '')
  return text.slice(0, isHalf ? most - 1 : most)
}
