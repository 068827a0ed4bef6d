import type { Control, Question } from '../../case/message.ts'
import type { ToSend } from '../../telegram/connection.ts'
import { numbersLine, partLines } from '../text-lines.ts'
import { plainText } from '../text-plain.ts'
import type { ChatButtons, Menu } from './buttons.ts'
import type { TelegramChannelPorts, TelegramSpoken } from './telegram.ts'

/** Where a chat stands: what is open, what can be changed, what to show at the desk. */
export interface ChatNow {
  /** A case of it is not closed. */
  readonly isOpen: boolean
  /** Open questions of all its open cases. */
  questions(): readonly Question[]
  changeable(): readonly { readonly fact: string; readonly label: string; readonly answer: string }[]
  readonly controls: readonly Control[]
  readonly language?: string
  readonly code?: string
  desk(): DeskShown | undefined
}

export interface DeskShown {
  readonly say: readonly string[]
  readonly facts: readonly { readonly label: string; readonly text: string }[]
  readonly staff?: { readonly label: string; readonly number: string; readonly shown?: string }
}

/** What it may be about, as a question: nothing was asked yet, so its serial is none that a case uses. */
export const concernsAsked = ({ concerns, wording }: TelegramSpoken): Question => ({
  kind: 'question',
  serial: CONCERN_SERIAL,
  fact: 'about',
  text: wording('first-ask'),
  options: concerns().map(({ id, label }) => ({ value: id, label })),
  several: false,
  accepts: 'words',
})

/** Serial of a tapped concern. */
export const CONCERN_SERIAL = 0

type Around = Pick<TelegramChannelPorts, 'languages' | 'clinicName'>

/** What stands first in a chat: holding advice and numbers before anything is asked, then what it may be about. */
export function welcomeOf(spoken: TelegramSpoken, buttons: ChatButtons, { languages, clinicName }: Around): ToSend {
  const { wording } = spoken
  const others = languages.filter(({ tag }) => tag !== spoken.language)
  const concerns = concernsAsked(spoken)
  return {
    text: [
      ...(spoken.lineNotice?.() ?? []),
      `${wording('first-advice-heading')}:`,
      ...partLines(spoken.firstAdvice(), { wording }).map(line => line.trim()),
      '',
      concerns.text,
      '',
      wording('telegram-first', { clinicName: clinicName() }),
      wording('caution'),
      '',
      numbersLine(spoken.foot()),
    ].join('\n'),
    buttons: [...buttons.question(concerns), ...others.map(({ tag, name }) => [buttons.language(tag, name)])],
  }
}

/** A list to choose from, or the words for the hospital's desk. */
export function menuOf(
  which: Menu,
  now: ChatNow,
  spoken: TelegramSpoken,
  buttons: ChatButtons,
  { languages }: Around,
): ToSend {
  const { wording } = spoken
  const numbers = numbersLine(spoken.foot())
  switch (which) {
    case 'language':
      return {
        text: `${wording('languages-label')}\n\n${numbers}`,
        buttons: languages.map(({ tag, name }) => [buttons.language(tag, name)]),
      }
    case 'change': {
      const changeable = now.changeable()
      return changeable.length === 0
        ? { text: `${wording('telegram-no-answers')}\n\n${numbers}` }
        : {
            text: `${wording('telegram-which-answer')}\n\n${numbers}`,
            buttons: changeable.map(({ fact, label, answer }) => [
              buttons.change(fact, plainText(`${label}: ${answer}`)),
            ]),
          }
    }
    case 'desk':
      return { text: [...deskLines(now, wording), '', numbers].join('\n') }
  }
}

function deskLines({ desk: deskOf, code }: ChatNow, wording: TelegramSpoken['wording']): readonly string[] {
  const desk = deskOf()
  if (desk === undefined) return [wording('desk-say')]
  const { say, facts, staff } = desk
  return [
    ...(say.length === 0 ? [wording('desk-say')] : say),
    ...(code === undefined ? [] : [`${wording('desk-code')}: ${code}`]),
    ...facts.map(({ label, text }) => `${label}: ${text}`),
    ...(staff === undefined ? [] : [`${staff.label}: ${staff.shown ?? staff.number}`]),
  ].map(plainText)
}
