import { describe, expect, it } from 'vitest'
import { viewOf } from '../../src/case/handover.ts'
import type { Part } from '../../src/case/message.ts'
import { aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { troubleLine } from '../support/two-troubles.ts'

const line = troubleLine()
const opened = (concern: string, also: readonly string[] = []): CaseTalk =>
  aTalk(line, concern).does({ kind: 'caseOpened', concern, said: 'help', ...(also.length === 0 ? {} : { also }) })
const names = (talk: CaseTalk, ...concerns: string[]) =>
  talk.does({ kind: 'concernNamed', concerns, said: 'and another thing' })
const texts = (parts: readonly Part[]) => parts.map(part => part.text).join('\n')
const lastPage = (talk: CaseTalk) => {
  const { page } = talk.pages().at(-1) ?? {}
  if (page === undefined) throw new Error('no page went out')
  return talk.pageText(page).join(' ')
}
const situation = (talk: CaseTalk) => viewOf(line, talk.state, [], talk.now).handover.situation.join('\n')

describe('a first message that names two troubles', () => {
  it('is answered for the first, and the other is offered when nothing more is asked', () => {
    const talk = opened('clogged', ['skin']).answers('danger-signs', 'none')
    talk.answers('device', 'balloon-button')
    expect(talk.asked()).toBe('also-now')
    expect(texts(talk.parts())).toContain('You also wrote about this: Sore or red skin')
  })

  it('asks nothing again that is answered, once the other is gone through', () => {
    const talk = opened('clogged', ['skin']).answers('danger-signs', 'none').answers('device', 'balloon-button')
    talk.answers('also-now', 'yes')
    expect([talk.state.concern, talk.asked()]).toEqual(['skin', 'unwell-too'])
    expect(texts(talk.parts())).toContain('Keep the skin dry')
  })

  it('stands in the page and the handover from the first', () => {
    const talk = opened('clogged', ['skin']).answers('danger-signs', 'none').answers('device', 'balloon-button')
    expect(lastPage(talk)).toContain('Also: Skin round the opening')
    expect(situation(talk)).toContain('Also named by the family: Skin round the opening')
  })

  it('is not offered again once the family does not want to, and still stands in the handover', () => {
    const talk = opened('clogged', ['skin']).answers('danger-signs', 'none').answers('device', 'balloon-button')
    talk.answers('also-now', 'no')
    expect([talk.state.concern, talk.asked()]).toEqual(['clogged', undefined])
    expect(situation(talk)).toContain('Also named by the family: Skin round the opening')
  })

  it('with one that no questions are for has a person paged at once', () => {
    const talk = opened('skin', ['medicine'])
    expect(talk.pages()).toHaveLength(1)
    expect(lastPage(talk)).toContain('Named something no questions are for')
    expect(talk.asked()).toBe('danger-signs')
  })
})

describe('another trouble named in the middle', () => {
  it('that is less urgent is noted, and the question stays', () => {
    const talk = names(opened('clogged').answers('danger-signs', 'none'), 'skin')
    expect([talk.state.concern, talk.asked()]).toEqual(['clogged', 'device'])
    expect(talk.said()).toEqual(['also-noted', 'ask:device'])
  })

  it('that is more urgent is taken at once; what was advised and worded as a risk is taken back; the first is offered later', () => {
    const talk = names(opened('clogged').answers('danger-signs', 'none'), 'tube-out')
    expect(talk.state.concern).toBe('tube-out')
    expect(texts(talk.parts())).toMatch(/^Stop: put no water through the tube/)
    expect(talk.asked()).toBe('in-opening')
    expect(talk.state.also).toEqual(['clogged'])
  })

  it('asks for no danger sign twice', () => {
    const talk = names(opened('clogged').answers('danger-signs', 'none'), 'tube-out').answers('in-opening', 'nothing')
    expect(talk.asked()).toBe('device')
  })

  it('learns what was said along and asks no more for it', () => {
    const talk = opened('clogged').answers('danger-signs', 'none')
    const facts = { 'in-opening': { kind: 'choice', value: 'nothing' } } as const
    talk.does({ kind: 'concernNamed', concerns: ['tube-out'], said: 'now it is out, the hole is empty', facts })
    expect(talk.asked()).toBe('device')
  })

  it('never lowers what was decided', () => {
    const talk = opened('clogged').answers('danger-signs', 'none').answers('device', 'balloon-button')
    expect(talk.state.disposition?.id).toBe('speak')
    names(talk, 'skin').answers('unwell-too', 'no')
    expect([talk.state.concern, talk.state.disposition?.id]).toEqual(['skin', 'speak'])
  })

  it('starts no second ladder: whoever was paged is told of it', () => {
    const talk = opened('clogged').answers('danger-signs', 'none').answers('device', 'balloon-button')
    names(talk, 'skin')
    expect(talk.pages().map(({ page }) => [page.to, page.why])).toEqual([
      ['amara', 'page'],
      ['amara', 'update'],
    ])
    expect(situation(talk)).toContain('Asked about before: Tube blocked')
  })

  it('on the way to hospital is told to the clinician and asked about no more', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    expect(talk.state.disposition?.id).toBe('set-out')
    names(talk, 'skin')
    expect(talk.state.concern).toBe('tube-out')
    expect(talk.said()[0]).toBe('also-told')
    expect(talk.pages().at(-1)?.page.why).toBe('update')
  })

  it('in an emergency leaves the emergency as it is', () => {
    const talk = opened('skin').does({ kind: 'dangerSaid', signs: ['breathing'], said: 'blue' })
    names(talk, 'clogged')
    expect(talk.state.kernel.talk).toContain('emergency')
    expect(talk.state.disposition?.id).toBe('ambulance')
  })

  it('that nothing of ours serves pages a person', () => {
    const talk = names(opened('skin').answers('danger-signs', 'none'), 'medicine')
    expect(talk.pages()).toHaveLength(1)
    expect(talk.state.concern).toBe('skin')
  })

  it('while a clinician has the case is told to them; one more urgent has its holding advice at once', () => {
    const talk = opened('clogged').answers('danger-signs', 'none').answers('device', 'balloon-button').takes()
    names(talk, 'skin')
    expect([talk.state.concern, talk.said()[0]]).toEqual(['clogged', 'also-told'])
    names(talk, 'tube-out')
    expect(talk.state.concern).toBe('tube-out')
    expect(talk.said()).toContain('cover-if-empty')
  })
})

describe('a correction after talk has turned to another trouble', () => {
  it('goes the way of the new one, with every answer', () => {
    const talk = names(opened('clogged').answers('danger-signs', 'none'), 'tube-out').answers('in-opening', 'nothing')
    talk.corrects('in-opening', 'same-tube')
    expect([talk.state.concern, talk.asked()]).toEqual(['tube-out', 'device'])
    expect(talk.said()).toContain('leave-in-place')
  })
})

describe('a message that names nothing', () => {
  const talk = () => aTalk(line, 'someone').does({ kind: 'caseOpened', concern: 'someone', said: 'hm', unclear: true })

  it('shows a button for each trouble that has a flow, and a person is paged', () => {
    const shown = talk()
    const question = shown.parts().find(part => part.kind === 'question')
    expect(question?.kind === 'question' ? question.options.map(({ value }) => value) : []).toEqual([
      'tube-out',
      'clogged',
      'skin',
      'someone',
      'not-sure',
    ])
    expect(shown.pages()).toHaveLength(1)
  })

  it.each(['someone', 'unsure'])('goes on to danger signs after "%s"', answer => {
    expect(talk().answers('about', answer).asked()).toBe('danger-signs')
  })

  it('goes on with the flow tapped', () => {
    const turned = talk().answers('about', 'skin')
    expect([turned.state.concern, turned.asked()]).toEqual(['skin', 'danger-signs'])
    expect(turned.said()).toContain('keep-dry')
  })

  describe('and says that the child is not well', () => {
    const unwell = () =>
      aTalk(line, 'someone').does({
        kind: 'caseOpened',
        concern: 'someone',
        said: 'hm',
        unclear: true,
        dangerFirst: true,
      })

    it('is asked about danger first, then what it is about', () => {
      expect([unwell().asked(), unwell().pages().length]).toEqual(['danger-signs', 1])
      expect(unwell().answers('danger-signs', 'none').asked()).toBe('about')
    })

    it('a sign or "not sure" goes its way, and nothing else is asked in between', () => {
      expect(unwell().answers('danger-signs', 'drowsy').asked()).not.toBe('about')
      expect(unwell().answers('danger-signs', 'unsure').asked()).not.toBe('about')
    })
  })

  it('says why a photo was not read, and what to do', () => {
    const event = { kind: 'caseOpened', concern: 'someone', said: '', unclear: true, unread: 'media' } as const
    expect(aTalk(line, 'someone').does(event).said()).toContain('misread:media')
  })
})
