import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, test } from 'vitest'
import { textFaults } from '../../src/flow/wording.ts'
import { screenTexts } from '../support/screen-words.ts'

const root = new URL('../../src/', import.meta.url).pathname
const sources = readdirSync(root, { recursive: true, encoding: 'utf8' })
  .map(file => join(root, file))
  .filter(file => file.endsWith('.ts'))
  .map(file => readFileSync(file, 'utf8'))
  .join('\n')

/** How ids begin that the pages put together: the part before the variable one. */
const MADE_UP = [...sources.matchAll(/`([a-z]+-(?:[a-z]+-)*)\$\{/g)].map(([, start = '']) => start)

const isUsed = (id: string): boolean => {
  const name = id.replace(/-(?:heading|line)$/, '')
  return sources.includes(`'${id}'`) || sources.includes(`'${name}'`) || MADE_UP.some(start => id.startsWith(start))
}

test('every screen text is used by a page, the terminal or a command', () => {
  expect(Object.keys(screenTexts).filter(id => !isUsed(id))).toEqual([])
})

test('every screen text is sound ICU MessageFormat', () => {
  const faults = Object.values(screenTexts).flatMap(text =>
    textFaults(text, 'en').filter(fault => !fault.startsWith('unknown variable')),
  )
  expect(faults).toEqual([])
})

// Wording that promises, soothes, blames or speaks by colour has no place on a screen (common practice, no source).
test('no screen text soothes, blames, promises or speaks by colour', () => {
  const bad =
    /don't worry|will be fine|on the way to you|we are watching|plenty of time|too late|should have|\b(?:simply|just|red|amber|orange|triage|disposition|tract)\b/i
  expect(Object.entries(screenTexts).filter(([, text]) => bad.test(text))).toEqual([])
})

test('no screen text has a sentence of more than 20 words', () => {
  const long = Object.values(screenTexts)
    .filter(text => !text.includes('\n'))
    .map(asShown)
    .flatMap(text => text.split(/(?<=[.?!])\s/))
    .filter(sentence => sentence.split(/\s+/).length > 20)
  expect(long).toEqual([])
})

/** With the longest words of each choice in it, as one of its readers sees it. */
const asShown = (text: string): string =>
  text.replaceAll(/\{\w+, (?:plural|select), ((?:\s*[\w=]+ \{(?:[^{}]|\{\w+\})*\})+)\s*\}/g, (_, choices: string) =>
    [...choices.matchAll(/[\w=]+ \{((?:[^{}]|\{\w+\})*)\}/g)]
      .map(([, words = '']) => words)
      .reduce((a, b) => (a.length > b.length ? a : b)),
  )
