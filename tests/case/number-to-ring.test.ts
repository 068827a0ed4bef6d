import { describe, expect, it } from 'vitest'
import { aLine } from '../support/a-line.ts'
import { aTalk, type CaseTalk } from '../support/case-talk.ts'

// E.164 (ITU-T) numbers of the range kept for fiction (US 555-0100 to 0199). What is done with them: common practice, no source.
const line = aLine()
const NUMBER = '+12025550143'
const OTHER = '+12025550187'
const given = (number: string) => ({ kind: 'phone', number }) as const

/** Talk up to the question for a number. */
function atTheNumber() {
  const talk = aTalk(line).says({}, ['drowsy'])
  expect(talk.asked()).toBe('ring-back')
  return talk
}

/** The answer as it comes from the words of a family. */
function answersNumber(talk: CaseTalk, number: string) {
  const serial = talk.state.open?.serial ?? 0
  return talk.does({
    kind: 'answerGiven',
    serial,
    fact: 'ring-back',
    answer: given(number),
    said: number,
    phone: number,
  })
}

const noNumber = (said: string) => ({ kind: 'notUnderstood', reason: 'phone-none', said }) as const

describe('a number to ring', () => {
  it('is read back by its last digits in the line that follows, and asks nothing more', () => {
    const talk = answersNumber(atTheNumber(), NUMBER)
    expect(talk.said()).toContain('noted:ring-back')
    const noted = talk.parts().find(part => part.kind === 'notice' && part.id === 'noted')
    expect(noted).toMatchObject({ text: expect.stringMatching(/ends in 43\./) })
    expect(JSON.stringify(noted)).not.toContain(NUMBER.slice(-4))
    expect(talk.asked()).toBeUndefined()
  })

  it('typed while another question is open is kept, read back, and the question stays', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing' })
    const open = talk.asked()
    talk.does({ kind: 'factSaid', fact: 'ring-back', answer: given(NUMBER), said: '202 555 0143' })
    expect(talk.said()).toEqual(['noted:ring-back', `ask:${open}`])
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
  })

  it('written beside an answer is kept with it, and is not asked for later', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing' })
    const { open } = talk.state
    if (open === undefined) throw new Error('a question was expected')
    talk.does({
      kind: 'answerGiven',
      serial: open.serial,
      fact: open.fact,
      answer: { kind: 'unsure' },
      said: 'not sure, my cell is 202 555 0143',
      phone: NUMBER,
    })
    expect(talk.said()).toContain('noted:ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
    talk.does({ kind: 'dangerSaid', signs: ['drowsy'], said: 'she wont wake' })
    expect(talk.asked()).not.toBe('ring-back')
  })

  it('written beside a danger sign stands after the emergency text', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing' })
    talk.does({ kind: 'dangerSaid', signs: ['colour'], said: 'lips are blue ring me on 202 555 0143', phone: NUMBER })
    const said = talk.said()
    expect(said.indexOf('noted:ring-back')).toBeGreaterThan(0)
    expect(said[0]).not.toBe('noted:ring-back')
    expect(talk.asked()).toBeUndefined()
  })

  it('in the first message is kept', () => {
    const talk = aTalk(line)
    talk.does({ kind: 'caseOpened', concern: 'tube-out', said: 'tube is out, call me on 202 555 0143', phone: NUMBER })
    expect(talk.said()).toContain('noted:ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
  })

  it('beside other words does not replace the one on record, and alone it does', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing', 'ring-back': given(NUMBER) })
    talk.does({ kind: 'personWanted', said: 'their desk is 202 555 0187', phone: OTHER })
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
    talk.does({ kind: 'factSaid', fact: 'ring-back', answer: given(OTHER), said: '202 555 0187' })
    expect(talk.said()[0]).toBe('noted:ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(OTHER))
    expect(talk.pages().at(-1)?.page.why).toBe('update')
  })

  it('of a tap on a question that is over is not read back again', () => {
    const talk = answersNumber(atTheNumber(), NUMBER)
    answersNumber(talk, OTHER)
    expect(talk.said()).not.toContain('noted:ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
  })
})

describe('"no" to the number', () => {
  it('is asked once more, and the second time talk goes on and says that nobody can ring back', () => {
    const talk = atTheNumber().does(noNumber('no'))
    expect(talk.said()).toEqual(['misread:phone-none', 'ask:ring-back'])
    talk.does(noNumber('no i have none'))
    expect(talk.said()).toContain('no-number')
    expect(talk.asked()).not.toBe('ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given('write-only'))
    expect(talk.state.marks).toContain('write-only')
  })

  it('is taken back by a number that comes later', () => {
    const talk = atTheNumber().does(noNumber('no')).does(noNumber('no'))
    talk.does({ kind: 'personWanted', said: 'neighbour is here ring me on 202 555 0143', phone: NUMBER })
    expect(talk.said()).toContain('noted:ring-back')
    expect(talk.state.answers['ring-back']?.answer).toEqual(given(NUMBER))
    expect(talk.state.marks).not.toContain('write-only')
  })
})
