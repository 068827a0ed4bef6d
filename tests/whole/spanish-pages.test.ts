import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { settingDefinitions } from '../../src/config/setting-definitions.ts'
import { settingWords } from '../../src/config/setting-words.ts'
import { ROOT } from '../support/clone.ts'
import { consoleAddresses } from '../support/console-routes.ts'
import { clinicWith, newFolder, type Served, serve } from './process.ts'
import { visit } from './visit.ts'

const screenTexts = (language: string) =>
  parse(readFileSync(join(ROOT, `flows/shared/wording.screen.${language}.yaml`), 'utf8')) as Record<string, string>

/** What stands in a text whatever is filled in: its pieces between the braces, of four words and more. */
const pieces = (text: string): readonly string[] =>
  text
    .split(/[{}]/)
    .map(piece => piece.replaceAll(/\s+/g, ' ').trim())
    .filter(piece => piece.split(' ').length >= 4)

/** Everything that the pages can say in English, but not in Spanish. */
function englishPieces(): readonly string[] {
  const spanish = new Set(Object.values(screenTexts('es')).flatMap(pieces))
  const settings = (Object.keys(settingDefinitions) as (keyof typeof settingDefinitions)[]).flatMap(id =>
    Object.values(settingWords(id, 'en')).filter(said => typeof said === 'string'),
  )
  return [...new Set([...Object.values(screenTexts('en')), ...settings].flatMap(pieces))].filter(
    piece => !spanish.has(piece),
  )
}

/** Pages that are in English only, which the README says. */
const ENGLISH_ONLY = new Set(['/reviews/report', '/reviews/figures'])

describe('the clinic’s pages in Spanish', { timeout: 60_000 }, () => {
  const data = newFolder()
  const folder = newFolder()
  let bot: Served

  beforeAll(async () => {
    const isSpanish = (yaml: string) => yaml.replace('staff-language: en', 'staff-language: es')
    clinicWith(folder.path, '  ladder-speak: [PT10M, PT20M, PT30M]\n', isSpanish)
    bot = await serve({ data: data.path, clinic: folder.path })
    const family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'her tube has just come out' })
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
    folder.remove()
  })

  test('the two files of texts have the same ids', () => {
    const [english, spanish] = ['en', 'es'].map(language => Object.keys(screenTexts(language)).toSorted())
    expect(spanish).toEqual(english)
  })

  test('no page says an English sentence of ours', async () => {
    const english = englishPieces()
    expect(english.length).toBeGreaterThan(300)
    expect(english).toContain('Nothing. Somebody is on call at every hour.')
    const clerk = visit(bot.origin)
    for (const address of consoleAddresses().filter(each => !ENGLISH_ONLY.has(each))) {
      const { text, markup, status } = await clerk.open(address)
      expect([address, status, /<html[^>]*lang="es"/.test(markup)]).toEqual([address, 200, true])
      expect([address, english.filter(piece => text.includes(piece))]).toEqual([address, []])
    }
  })
})
