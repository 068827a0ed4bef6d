import { describe, expect, test } from 'vitest'
import type { Incoming } from '../../src/case/message.ts'
import { openCase } from '../../src/case/state.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { lineUnderstanding } from '../../src/runtime/line-understanding.ts'
import type { RunningCase } from '../../src/runtime/machine.ts'
import { eventOfUnderstood } from '../../src/runtime/understanding.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { NIGHT } from '../support/a-line.ts'

const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: NIGHT })
if (loaded === undefined) throw new Error('the demonstration clinic does not load')
const understand = lineUnderstanding(loaded.line, {
  lexicons: loaded.lexicons,
  defaultRegion: 'US',
  times: { readMoment, readDate, readDuration },
})
const nothingAsked: RunningCase = openCase(loaded.line, {
  caseId: 'c',
  chat: { channel: 'web', chat: 'f' },
  at: NIGHT,
  code: 'Sun 4719',
  concern: 'tube-out',
})
const kindOf = (text: string): string => {
  const body: Incoming['body'] = { kind: 'text', text }
  return eventOfUnderstood(understand({ body, state: nothingAsked, at: NIGHT }), body, nothingAsked).kind
}

describe('while nothing is asked', () => {
  test.each([
    'ok', 'OK thanks', 'Thank you so much!', 'thx', 'good night', 'Ok, will do. Thank you all', 'noted', 'Thanks!! 😊',
    'ok ok', 'great, thank you', 'bye',
  ])('"%s" asks for nothing: it is answered and pages nobody', text => expect(kindOf(text)).toBe('greeted')) // biome-ignore format: one list

  test.each([
    'ok?', 'thanks, is that all?', 'help', 'ok help', 'thanks but it is bleeding a bit', 'not ok', 'got it', 'its in', 'hello',
    'ok it came out again', 'good', 'you', 'so much', 'ok so what do i do', 'night feed is due', 'thanks she is asleep now',
    'ok ok ok ok ok ok ok ok ok', 'are you there', 'no', 'yes',
  ])('"%s" may be a plea or news: a person sees it', text => expect(kindOf(text)).not.toBe('greeted')) // biome-ignore format: one list

  test.each(['ok thanks, she is blue', 'good night, he is floppy', 'thanks, he is having a seizure'])(
    '"%s" is danger first, whatever is polite in it',
    text => expect(kindOf(text)).toBe('dangerSaid'),
  )

  test('no plea can be made of the words of the lexicon’s list', () => {
    const { said, beside } = loaded.lexicon.smallWords
    for (const word of [
      'help',
      'now',
      'again',
      'please',
      'come',
      'out',
      'in',
      'no',
      'not',
      'blood',
      'worse',
      'fine',
      'got',
      'it',
      'call',
      'ring',
    ])
      expect(said.has(word) || beside.has(word), word).toBe(false)
    for (const word of beside) expect(kindOf(word), word).not.toBe('greeted')
  })
})
