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
  const event = eventOfUnderstood(understand({ body, state: nothingAsked, at: NIGHT }), body, nothingAsked)
  return event.kind === 'greeted' && event.news === true ? 'news' : event.kind
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

  test.each([
    'it stopped', "it's stopped now", 'the bleeding has stopped', "he's fine now", 'she fell asleep', 'thanks she is asleep now',
    'all good now', 'the ambulance is here', 'we are with the paramedics', 'no more blood', 'false alarm, sorry',
    'ya paró', 'ya no sangra', 'se durmió', 'ya está bien', 'ya llegó la ambulancia', 'falsa alarma',
  ])('"%s" is news: it asks for no one, and who was paged is told', text => expect(kindOf(text)).toBe('news')) // biome-ignore format: one list

  test.each([
    'it has not stopped', 'it stopped but she is in pain', 'it stopped working', 'it is leaking, otherwise she is fine', 'it stopped for a bit then started again',
    'is it normal that it stopped?', 'she is asleep, should i wake her?', 'he is ok now, crying a lot', 'no ha parado', 'ya no respira',
    'nobody called me', 'waiting until the ambulance is here', 'i think it stopped',
  ])('"%s" is no news that all is well', text => expect(kindOf(text)).not.toBe('news')) // biome-ignore format: one list
})

describe('while something is asked', () => {
  const asked: RunningCase = {
    ...nothingAsked,
    open: { serial: 1, fact: 'travel', changing: false, misread: 0, askedAt: NIGHT } as NonNullable<
      RunningCase['open']
    >,
  }
  const eventOf = (text: string) => {
    const body: Incoming['body'] = { kind: 'text', text }
    return eventOfUnderstood(understand({ body, state: asked, at: NIGHT }), body, asked)
  }

  test.each(['she fell asleep', "he's fine now", 'it stopped', 'ya paró'])(
    '"%s" is heard, and no failed answer',
    text => expect(eventOf(text)).toMatchObject({ kind: 'greeted', news: true }),
  )

  test('"we are in the ambulance" is being on the road, not having arrived', () => {
    expect(eventOf('we are in the ambulance').kind).toBe('leftSaid')
    expect(eventOf('we are in the car').kind).toBe('leftSaid')
    expect(eventOf('we are in the waiting room').kind).toBe('personWanted')
  })

  test.each(['long one with balloon', 'a button with a balloon', 'botón con globo'])(
    '"%s" describes the tube: it is no trouble with the balloon',
    text => expect(eventOf(text).kind).not.toBe('concernNamed'),
  )
})
