import { CONTROLS, type Control, type Option, type Question } from '../../case/message.ts'
import type { Button, Key } from '../../telegram/connection.ts'
import { orderedOptions } from '../text-taps.ts'
import type { Wording } from '../web-page.ts'

/**
 * What a press carries: what kind it is, the question's serial, and a short signature of chat, serial and value. It says
 * nothing to whoever reads it, fits 64 bytes, and means something in the chat it was made for only. The value is found by
 * signing every value there is, so an option that has moved since is never taken for another.
 */
export type Sign = (what: string) => string

/** Buttons of one chat. */
export interface ChatButtons {
  question(question: Question, ticked?: ReadonlySet<string>): readonly (readonly Button[])[]
  control(control: Control, label: string): Button
  change(fact: string, label: string): Button
  language(tag: string, name: string): Button
  menu(menu: Menu, label: string): Button
  read(data: string, known: Known): Press
}

/** Lists of buttons that are shown when they are asked for. */
export type Menu = 'change' | 'language' | 'desk'
const MENUS: readonly Menu[] = ['change', 'language', 'desk']

/** Everything a press can mean now. */
export interface Known {
  /** Questions that are open in the chat, and the concerns as one of serial 0. */
  questions(): readonly Question[]
  /** Values that are heard whatever is asked: danger signs. */
  readonly always: readonly string[]
  facts(): readonly string[]
  readonly languages: readonly string[]
}

export type Press =
  | { readonly kind: 'value'; readonly serial: number; readonly value: string }
  /** One of several was ticked, or its tick taken away; `to` is how it is to stand. */
  | { readonly kind: 'tick'; readonly serial: number; readonly value: string; readonly to: boolean }
  | { readonly kind: 'done'; readonly serial: number }
  /** A button of a question that is not open any more, or of another chat. */
  | { readonly kind: 'late'; readonly serial: number }
  | { readonly kind: 'control'; readonly control: Control }
  | { readonly kind: 'change'; readonly fact: string }
  | { readonly kind: 'language'; readonly tag: string }
  | { readonly kind: 'menu'; readonly menu: Menu }
  | { readonly kind: 'unknown' }

const TICKED = '☑ '
const OPEN = '☐ '

/** @param wording  in the language of the chat */
export function chatButtons(chat: string, sign: Sign, wording: Wording): ChatButtons {
  const mac = (...what: (string | number)[]): string => sign([chat, ...what].join('\n'))
  const value = (serial: number, option: string): string => `a.${serial}.${mac('value', serial, option)}`
  const tick = (serial: number, option: string, to: boolean): string =>
    `t.${serial}.${to ? 1 : 0}.${mac('tick', serial, option)}`

  const optionButton = (question: Question, option: Option, ticked: ReadonlySet<string>): Button => {
    const { serial, several } = question
    if (!several || option.apart === true) return { text: option.label, data: value(serial, option.value) }
    const isTicked = ticked.has(option.value)
    return { text: `${isTicked ? TICKED : OPEN}${option.label}`, data: tick(serial, option.value, !isTicked) }
  }

  const found = <T>(all: readonly T[], given: string, signed: (one: T) => string): T | undefined =>
    all.find(one => signed(one) === given)

  return {
    question(question, ticked = new Set()) {
      const options = orderedOptions(question)
      const done = { text: wording('done'), data: `d.${question.serial}.${mac('done', question.serial)}` }
      const plain = options.filter(({ apart }) => apart !== true)
      const apart = options.filter(option => option.apart === true)
      const row = (option: Option) => [optionButton(question, option, ticked)]
      return [...plain.map(row), ...(question.several ? [[done]] : []), ...apart.map(row)]
    },
    control: (control, label) => ({ text: label, data: `c.${mac('control', control)}` }),
    change: (fact, label) => ({ text: label, data: `x.${mac('change', fact)}` }),
    language: (tag, name) => ({ text: name, data: `l.${mac('language', tag)}` }),
    menu: (menu, label) => ({ text: label, data: `m.${mac('menu', menu)}` }),
    read(data, known) {
      const [kind = '', ...parts] = data.split('.')
      const signature = parts.at(-1) ?? ''
      const serial = serialIn(data)
      const options = (): readonly string[] => {
        const asked = known.questions().filter(question => question.serial === serial)
        return [...new Set(asked.flatMap(question => question.options.map(one => one.value)))]
      }
      switch (kind) {
        case 'a': {
          const one = found([...options(), ...known.always], data, option => value(serial, option))
          return one === undefined ? { kind: 'late', serial } : { kind: 'value', serial, value: one }
        }
        case 't': {
          const to = parts[1] === '1'
          const one = found(options(), data, option => tick(serial, option, to))
          return one === undefined ? { kind: 'late', serial } : { kind: 'tick', serial, value: one, to }
        }
        case 'd':
          return options().length > 0 && signature === mac('done', serial)
            ? { kind: 'done', serial }
            : { kind: 'late', serial }
        case 'c': {
          const control = found(CONTROLS, signature, one => mac('control', one))
          return control === undefined ? { kind: 'unknown' } : { kind: 'control', control }
        }
        case 'x': {
          const fact = found(known.facts(), signature, one => mac('change', one))
          return fact === undefined ? { kind: 'unknown' } : { kind: 'change', fact }
        }
        case 'l': {
          const tag = found(known.languages, signature, one => mac('language', one))
          return tag === undefined ? { kind: 'unknown' } : { kind: 'language', tag }
        }
        case 'm': {
          const menu = found(MENUS, signature, one => mac('menu', one))
          return menu === undefined ? { kind: 'unknown' } : { kind: 'menu', menu }
        }
        default:
          return { kind: 'unknown' }
      }
    },
  }
}

/** The serial of the question a button stands under; -1 for a button of none. */
export function serialIn(data: string): number {
  const [, serial = ''] = data.split('.')
  return /^\d{1,15}$/.test(serial) ? Number(serial) : -1
}

/** Values that stand ticked under a message. */
export function tickedIn(
  rows: readonly (readonly { readonly text: string; readonly data: string }[])[],
  buttons: ChatButtons,
  known: Known,
): Set<string> {
  const ticked = new Set<string>()
  for (const { data } of rows.flat()) {
    const press = buttons.read(data, known)
    // A button that would take its tick away stands ticked.
    if (press.kind === 'tick' && !press.to) ticked.add(press.value)
  }
  return ticked
}

/** Where a telephone number is asked for: the telephone's own, in one press, or the options as words. */
export const numberKeys = (question: Question, wording: Wording): readonly Key[] => [
  { text: wording('telegram-share-number'), sharesNumber: true },
  ...orderedOptions(question).map(({ label }) => ({ text: label })),
]
