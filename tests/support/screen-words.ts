import { readFileSync } from 'node:fs'
import { IntlMessageFormat } from 'intl-messageformat'
import { parse } from 'yaml'
import type { Wording } from '../../src/channels/web-page.ts'

const file = new URL('../../flows/shared/wording.screen.en.yaml', import.meta.url)

/** The shipped screen texts by id, unfilled. */
export const screenTexts: Readonly<Record<string, string>> = parse(readFileSync(file, 'utf8'))

/** Ids asked for since the tests started: what the pages really use. */
export const idsAsked = new Set<string>()

/** The shipped screen wording; an unknown id throws. */
export const screenWording: Wording = (id, values) => {
  idsAsked.add(id)
  const text = screenTexts[id]
  if (text === undefined) throw new Error(`no screen text "${id}": add it to wording.screen.en.yaml`)
  return String(new IntlMessageFormat(text, 'en', undefined, { ignoreTag: true }).format(values))
}
