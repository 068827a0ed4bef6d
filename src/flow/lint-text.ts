/** A text as a reader meets it: every form its selects and plurals can take, filled with samples. */
import { type MessageFormatElement, parse, TYPE } from '@formatjs/icu-messageformat-parser'

/** Stands where a variable stood and no sample is wanted: a word without a digit in it. */
const NO_SAMPLE = 'X'

/** More forms than this of one text are not looked at one by one. */
const MOST_FORMS = 64

/**
 * Forms of a text, at most 64, each without braces. Empty where the text is no message format: that is told elsewhere.
 *
 * @param samples  what stands for a variable; left out: a word with no digit
 */
export function formsOf(text: string, samples: Readonly<Record<string, string>> = {}): string[] {
  if (!/[{'#]/.test(text)) return [text.replace(/[ \t]+/g, ' ').trim()]
  try {
    const forms = expand(parse(text, { ignoreTag: true }), samples)
    return [...new Set(forms.slice(0, MOST_FORMS).map(form => form.replace(/[ \t]+/g, ' ').trim()))]
  } catch {
    return []
  }
}

function expand(elements: readonly MessageFormatElement[], samples: Readonly<Record<string, string>>): string[] {
  return elements.reduce<string[]>(
    (forms, element) => {
      const next = partsOf(element, samples)
      return forms.slice(0, MOST_FORMS).flatMap(form => next.map(part => form + part))
    },
    [''],
  )
}

function partsOf(element: MessageFormatElement, samples: Readonly<Record<string, string>>): string[] {
  if (element.type === TYPE.literal) return [element.value]
  if (element.type === TYPE.pound) return ['2']
  if (element.type === TYPE.plural || element.type === TYPE.select)
    return Object.values(element.options).flatMap(option => expand(option.value, samples))
  if (element.type === TYPE.tag) return expand(element.children, samples)
  return [samples[element.value] ?? NO_SAMPLE]
}

/** A text without what stands in quotes: the words somebody else says, or what is typed. */
export function withoutQuotes(text: string): string {
  return text.replace(/["“«][^"”»]*["”»]/g, ' X ')
}

/** Words of a list as part of a pattern: what has a meaning in patterns stands for itself. */
export function patternOf(text: string): string {
  return text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')
}

/** Letters without accents, in lower case, so that "métala" begins as "meta" does. ñ is a letter of its own and stays. */
export function plainLetters(text: string): string {
  return text.toLowerCase().replace(/[à-ïò-ÿ]/g, letter => letter.normalize('NFD').replace(/\p{M}/gu, ''))
}
