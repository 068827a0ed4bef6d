import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { openCase } from '../../src/case/state.ts'
import { step } from '../../src/case/step.ts'
import { lineUnderstanding } from '../../src/runtime/line-understanding.ts'
import { eventOfUnderstood } from '../../src/runtime/understanding.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { languageOf, languagesOf } from '../../src/understand/language.ts'
import { lexiconOf } from '../../src/understand/lexicon.ts'
import { NIGHT } from '../support/a-line.ts'
import { twoLanguageLine } from '../support/two-troubles.ts'

const shared = (name: string): unknown =>
  parse(readFileSync(new URL(`../../flows/shared/${name}`, import.meta.url), 'utf8'))
const languages = languagesOf(shared('languages.yaml'))
const line = twoLanguageLine()
const understand = lineUnderstanding(line, {
  lexicons: new Map(['en', 'es'].map(language => [language, lexiconOf(shared(`lexicon.${language}.yaml`))])),
  languageOf: text => languageOf(text, languages),
  defaultRegion: 'US',
  times: { readMoment, readDate, readDuration },
})
const first = (text: string, language?: string) =>
  understand({
    body: { kind: 'text', text },
    state: undefined,
    at: NIGHT,
    ...(language === undefined ? {} : { language }),
  })

const opened = (concern: string) => {
  const chat = { channel: 'web', chat: 'f' }
  const fresh = openCase(line, { caseId: 'c', chat, at: NIGHT, code: 'Sun 4719', concern })
  return step(line, fresh, { kind: 'caseOpened', concern }, NIGHT).state
}
const said = (text: string, state = opened('tube-out')) => {
  const body = { kind: 'text', text } as const
  return eventOfUnderstood(understand({ body, state, at: NIGHT }), body, state)
}

describe('a first message', () => {
  it.each([
    ['se le salió la sonda a mi niña', 'es', 'tube-out'],
    ['her feeding tube came out of her belly', 'en', 'tube-out'],
  ])('"%s" is answered in %s', (text, language, concern) => {
    expect(first(text)).toMatchObject({ kind: 'concern', language })
    expect((first(text) as { concerns: readonly string[] }).concerns[0]).toBe(concern)
  })

  it('of few words is answered in the language of the screen it came from', () => {
    expect(first('ok', 'es')).toMatchObject({ language: 'es' })
    expect(first('ok')).toMatchObject({ language: 'en' })
  })

  it.each(['please help mi niña no respira', 'my baby the tube esta morado'])(
    '"%s" mixes two languages: danger in either is danger',
    text => {
      expect(first(text).kind).toBe('danger')
    },
  )

  it.each([
    ['la sonde de ma fille est sortie, aidez-moi s’il vous plaît', 'fr'],
    ['أنبوب التغذية خرج من بطن ابني', 'ar'],
    ['孩子的管子掉出来了', 'zh'],
    ['у ребёнка выпала трубка, помогите пожалуйста', 'ru'],
  ])('"%s" is in a language the line does not speak: %s', (text, foreign) => {
    expect(first(text)).toMatchObject({ foreign })
  })
})

describe('a language that is heard and not spoken yet', () => {
  const heard = lineUnderstanding(
    { ...line, languages: ['en'] },
    {
      lexicons: new Map(['en', 'es'].map(language => [language, lexiconOf(shared(`lexicon.${language}.yaml`))])),
      languageOf: text => languageOf(text, languages),
      defaultRegion: 'US',
      times: { readMoment, readDate, readDuration },
    },
  )
  const read = (text: string, state = opened('tube-out')) => heard({ body: { kind: 'text', text }, state, at: NIGHT })

  it('has its danger words', () => expect(read('no respira').kind).toBe('danger'))

  it('is told as foreign, and nothing else in it is an answer', () => {
    const body = { kind: 'text', text: 'no sé qué hay en la abertura' } as const
    const state = opened('tube-out')
    expect(eventOfUnderstood(heard({ body, state, at: NIGHT }), body, state)).toMatchObject({
      kind: 'personWanted',
      foreign: 'es',
    })
  })

  it('breaks no answer in the language of the line', () => {
    expect(read('it is empty')).toMatchObject({ kind: 'answer' })
    expect(read('no blue lips, no fits').kind).toBe('misread')
  })
})

describe('in the middle of a case', () => {
  it('an answer in the other language of the line counts, and is answered in it', () => {
    expect(said('no sé qué hay, no estoy segura')).toMatchObject({ kind: 'answerGiven', language: 'es' })
  })

  it('"español" asks for Spanish and answers nothing', () => {
    expect(said('español')).toEqual({ kind: 'languageChosen', language: 'es', said: 'español' })
  })

  it('danger in the other language is danger', () => {
    expect(said('no respira').kind).toBe('dangerSaid')
  })

  it('another trouble is named, not taken for an answer', () => {
    expect(said('the tube is clogged', opened('skin'))).toMatchObject({ kind: 'concernNamed', concerns: ['clogged'] })
  })

  it('the same trouble once more is no answer, and no second trouble', () => {
    expect(said('the tube is clogged', opened('clogged')).kind).toBe('notUnderstood')
  })

  it('words of a language the line does not speak need a person', () => {
    expect(said('aidez-moi s’il vous plaît, je ne comprends pas la question')).toMatchObject({
      kind: 'personWanted',
      foreign: 'fr',
    })
  })
})
