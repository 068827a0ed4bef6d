import { expect, test } from 'vitest'
import { languageAsked } from '../../src/runtime/language-asked.ts'

const LINE = ['en', 'es']

test.each([
  ['español', 'es'],
  ['Espanol por favor', 'es'],
  ['spanish please', 'es'],
  ['English', 'en'],
  ['en inglés', 'en'],
  ['no english', 'es'],
  ['no hablo inglés', 'es'],
  ['ENGLISH!!!', 'en'],
])('"%s" asks for %s', (text, language) => expect(languageAsked(text, LINE)).toBe(language))

test.each([
  'my spanish neighbour pulled her tube out just now',
  'english or spanish',
  'french please',
  'the tube is out',
  '',
  '🙂',
])('"%s" asks for no language of the line', text => expect(languageAsked(text, LINE)).toBeUndefined())

test('with three languages "no english" says not which', () => {
  expect(languageAsked('no english', ['en', 'es', 'fr'])).toBeUndefined()
})
