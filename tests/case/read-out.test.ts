import { describe, expect, it } from 'vitest'
import type { Answer } from '../../src/case/answer.ts'
import { aTalk, type CaseTalk } from '../support/case-talk.ts'

// What is read in a first message is not asked, and may have been read wrongly: the family sees it before it is acted on.

const given: Readonly<Record<string, Answer>> = {
  device: { kind: 'choice', value: 'into-bowel' },
  replaced: { kind: 'choice', value: 'pain-blood-or-force' },
}
const opened = (facts: Readonly<Record<string, Answer>>, more: object = {}): CaseTalk =>
  aTalk(undefined, 'clogged').does({
    kind: 'caseOpened',
    concern: 'clogged',
    said: 'blocked, forced it',
    facts,
    ...more,
  })
const heard = (talk: CaseTalk) =>
  talk.parts().flatMap(part => (part.kind === 'notice' && part.id === 'heard' ? [part.text] : []))

describe('what the words of a first message answered', () => {
  it('is read back in the first reply, after the advice, with what to write where it is wrong', () => {
    const talk = opened(given)
    expect(heard(talk)).toEqual([
      'We read this. Kind of tube: Goes on into the bowel; Putting a tube back: It hurt, bled or needed a push. Is it wrong? Write "change answer".',
    ])
    expect(talk.said().slice(-2)).toEqual(['heard:device+replaced', 'ask:danger-signs'])
  })

  it('is not read back where the flow wants to know nothing of it, or nothing was read', () => {
    expect(heard(opened({ 'skin-signs': { kind: 'many', values: ['pus'] } }))).toEqual([])
    expect(heard(opened({}))).toEqual([])
  })

  it('is not read back where the words were no message: what the record says is not in question', () => {
    const talk = aTalk(undefined, 'clogged').does({ kind: 'caseOpened', concern: 'clogged', facts: given })
    expect(heard(talk)).toEqual([])
  })

  it('does not stand between a family and the emergency number', () => {
    expect(heard(opened(given, { danger: ['breathing'] }))).toEqual([])
  })

  it('can be set right at once, and decides nothing any more', () => {
    const talk = opened(given).does({ kind: 'changeWanted', fact: 'replaced' })
    expect(talk.asked()).toBe('replaced')
    talk.answers('replaced', 'not-tried').answers('danger-signs', ['none'])
    expect([talk.asked(), talk.state.disposition]).toEqual(['first-placed', undefined])
  })
})

describe('what the words for another trouble answered', () => {
  it('is read back, but for what was known', () => {
    const talk = opened({ device: given['device'] as Answer }).answers('danger-signs', ['none'])
    const facts = { device: given['device'] as Answer, bleed: { kind: 'choice', value: 'spots' } as const }
    talk.does({ kind: 'concernNamed', concerns: ['bleeding'], said: 'and it bleeds', facts })
    expect([talk.state.concern, talk.said().filter(each => each.startsWith('heard'))]).toEqual([
      'bleeding',
      ['heard:bleed'],
    ])
  })
})
