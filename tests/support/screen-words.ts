import { readFileSync } from 'node:fs'
import { IntlMessageFormat } from 'intl-messageformat'
import { parse } from 'yaml'
import type { Wording } from '../../src/channels/web-page.ts'

const textsIn = (language: string): Readonly<Record<string, string>> =>
  parse(readFileSync(new URL(`../../flows/shared/wording.screen.${language}.yaml`, import.meta.url), 'utf8'))

/** The shipped screen texts by id, unfilled. */
export const screenTexts = textsIn('en')

/** Ids asked for since the tests started: what the pages really use. */
export const idsAsked = new Set<string>()

const spanishTexts = textsIn('es')

/** The same in Spanish. */
export const spanishScreen: Wording = (id, values) =>
  String(new IntlMessageFormat(spanishTexts[id] ?? id, 'es', undefined, { ignoreTag: true }).format(values))

/** The shipped screen wording; an unknown id throws. */
export const screenWording: Wording = (id, values) => {
  idsAsked.add(id)
  const text = screenTexts[id]
  if (text === undefined) throw new Error(`no screen text "${id}": add it to wording.screen.en.yaml`)
  return String(new IntlMessageFormat(text, 'en', undefined, { ignoreTag: true }).format(values))
}
