import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { variablesOf } from '../../src/flow/wording.ts'
import { shippedFiles } from '../support/a-line.ts'

/** Texts of a wording file, by id. */
const textsOf = (path: string) => parse(shippedFiles.get(path) ?? '{}', { version: '1.2' }) as Record<string, string>

/** English texts beside their Spanish ones, over every file that has both. */
const pairs = [...shippedFiles.keys()]
  .filter(path => /\/wording(?:\.screen)?\.en\.yaml$/.test(path))
  .flatMap(path => {
    const spanish = textsOf(path.replace('.en.yaml', '.es.yaml'))
    return Object.entries(textsOf(path)).flatMap(([id, en]) => {
      const es = spanish[id]
      return es === undefined ? [] : [{ file: path, id, en, es }]
    })
  })
const told = pairs.filter(({ id }) => /^(?:say|stop|quick|misread|desk)\//.test(id))
const count = (text: string, words: RegExp) => text.match(words)?.length ?? 0

describe('what a family reads in Spanish, beside the English', () => {
  it('uses the same variables in every text', () => {
    const apart = pairs.filter(
      ({ en, es }) => JSON.stringify(variablesOf(en).sort()) !== JSON.stringify(variablesOf(es).sort()),
    )
    expect(apart).toEqual([])
    expect(pairs.length).toBeGreaterThan(700)
  })

  it('forbids whatever the English forbids', () => {
    const english = /\b(?:do not|don't|never|nothing|no (?:feed|force|food|medicine|one)|not even)\b/gi
    const spanish = /(?<!\p{L})(?:no|nunca|nada|nadie|ni|sin)(?!\p{L})/giu
    const milder = told.filter(({ en, es }) => count(en, english) > count(es, spanish))
    expect(milder.map(({ id, en, es }) => `${id}: ${en} | ${es}`)).toEqual([])
  })

  it('says "now" wherever the English says it', () => {
    const milder = told.filter(
      ({ en, es }) =>
        /\b(?:now|at once)\b(?! and| than)/i.test(en) &&
        !/(?<!\p{L})(?:ahora|ya|sin esperar|en cuanto|de una vez)(?!\p{L})/iu.test(es),
    )
    expect(milder.map(({ id, en, es }) => `${id}: ${en} | ${es}`)).toEqual([])
  })

  it('names a button in quotes as the button is named', () => {
    const screen = textsOf('shared/wording.screen.es.yaml')
    const shared = textsOf('shared/wording.es.yaml')
    const buttons = ['control-person', 'control-wrong-tap', 'telegram-change']
      .map(id => screen[id])
      .concat(shared['option/not-sure'])
    const tapped = pairs.flatMap(({ id, es }) =>
      [...es.matchAll(/(?:Toque|toque|dijo) "([^"]+)"/g)].map(([, name]) => ({ id, name })),
    )
    expect(tapped.length).toBeGreaterThan(4)
    expect(tapped.filter(({ name }) => !buttons.includes(name) && name !== screen['clinic-spoken'])).toEqual([])
  })

  it('begins the emergency line with the number and "ahora"', () => {
    const emergency = told.filter(({ id }) => /^say\/ring-emergency/.test(id))
    expect(emergency.length).toBeGreaterThan(0)
    for (const { es } of emergency) expect(es).toMatch(/^Llame al \{emergency\} ahora\./)
  })
})
