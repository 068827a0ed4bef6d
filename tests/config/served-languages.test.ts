import { describe, expect, it } from 'vitest'
import { servedLanguages } from '../../src/config/served-languages.ts'

const WHOLE: Readonly<Record<string, string>> = {
  'someone/flow.yaml': 'concern: someone\n',
  'skin/flow.yaml': 'concern: skin\n',
  ...Object.fromEntries(
    ['en', 'es'].flatMap(language => [
      [`shared/wording.${language}.yaml`, 'say/one: One.\nsay/two: |-\n  Two.\n'],
      [`shared/wording.screen.${language}.yaml`, 'back: Back\n'],
      [`shared/lexicon.${language}.yaml`, 'language: x\n'],
      [`someone/wording.${language}.yaml`, '{}\n'],
      [`skin/wording.${language}.yaml`, 'say/skin: Skin.\n'],
    ]),
  ),
}
const clinic = (demonstration: boolean, staffLanguage = 'en') => ({
  familyLanguages: ['en', 'es'],
  staffLanguage,
  demonstration,
})
const served = (change: Readonly<Record<string, string | undefined>>, demonstration = true) => {
  const files = Object.entries({ ...WHOLE, ...change }).flatMap(([path, text]) =>
    text === undefined ? [] : [[path, text] as const],
  )
  return servedLanguages(new Map(files), clinic(demonstration), undefined)
}

describe('languages a clinic lists', () => {
  it('are served where nothing lacks', () => {
    expect(served({})).toMatchObject({ languages: ['en', 'es'], problems: [] })
  })

  it('are not served to real families while one text lacks: the file and the text are named', () => {
    const { problems } = served({ 'shared/wording.es.yaml': 'say/one: Uno.\n' }, false)
    expect(problems).toHaveLength(1)
    expect(problems[0]).toMatchObject({ severity: 'problem', code: 'LANGUAGE_MISSING' })
    expect(problems[0]?.found).toContain('flows/shared/wording.es.yaml lacks "say/two"')
  })

  it('in a demonstration go on without the one that lacks a shared text, and say so', () => {
    const { languages, problems, files } = served({ 'shared/wording.es.yaml': 'say/one: Uno.\n' })
    expect(languages).toEqual(['en'])
    expect(problems.map(({ severity }) => severity)).toEqual(['warning'])
    expect([...files.keys()].some(path => path.includes('.es.'))).toBe(false)
  })

  it('in a demonstration leave one concern without questions in a language that lacks its words', () => {
    const { languages, problems, files } = served({ 'skin/wording.es.yaml': undefined })
    expect(languages).toEqual(['en', 'es'])
    expect(problems[0]?.found).toContain('flows/skin/wording.es.yaml')
    expect(files.has('shared/wording.es.yaml')).toBe(true)
  })

  it.each(['shared/lexicon.es.yaml', 'shared/wording.screen.es.yaml', 'someone/wording.es.yaml'])('need %s', path =>
    expect(served({ [path]: undefined }).languages).toEqual(['en']),
  )

  it('nobody has to approve words of a language that is not listed', () => {
    const files = new Map([...Object.entries(WHOLE), ['skin/wording.fr.yaml', 'say/skin: Peau.\n'] as const])
    expect(servedLanguages(files, clinic(true), undefined).files.has('skin/wording.fr.yaml')).toBe(false)
  })

  it('beside the clinic’s own language, which needs its shared words', () => {
    const { problems } = servedLanguages(new Map(Object.entries(WHOLE)), clinic(true, 'fr'), undefined)
    expect(problems.map(({ severity, found }) => `${severity} ${found}`)).toEqual([
      'problem "fr", and there is no flows/shared/wording.fr.yaml',
    ])
  })
})
