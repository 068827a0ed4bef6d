import { describe, expect, it } from 'vitest'
import { aTalk, PLAIN } from '../support/case-talk.ts'

describe('an alarm that comes while an emergency holds the talk', () => {
  it('asks a family on the road whether they have arrived, once the danger was a wrong tap', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' })
    talk.does({ kind: 'leftSaid', said: 'we are on our way' })
    expect(talk.state.kernel.talk).toBe('shared/driving')
    const arrival = talk.alarms.get('arrival')
    if (arrival === undefined) throw new Error('no arrival is expected')
    talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'she is fitting' })
    talk.waits((arrival - talk.now) / 60_000 + 5)
    expect(talk.state.kernel.talk).toMatch(/^shared\/emergency/)
    talk.does({ kind: 'wrongTapSaid' })
    talk.waits(1)
    expect(talk.asked()).toBe('have-you-arrived')
    expect(talk.state.kernel.talk).toBe('shared/arrived')
  })

  it('asks a family that has not left again, once the danger was a wrong tap', () => {
    const talk = aTalk().says()
    talk.answersAll({ ...PLAIN, 'have-you-left': 'no', 'can-travel': 'yes' })
    expect(talk.state.kernel.talk).toBe('shared/not-left')
    talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'she is fitting' })
    talk.waits(30)
    expect(talk.state.kernel.talk).toMatch(/^shared\/emergency/)
    talk.does({ kind: 'wrongTapSaid' })
    talk.answers('danger-signs', ['none'])
    expect(talk.state.kernel.talk).toBe('shared/not-left')
    talk.waits(15)
    expect(talk.asked()).toBe('have-you-left')
  })

  it('says nothing while the emergency lasts, and does not come twice', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' })
    talk.does({ kind: 'leftSaid', said: 'we are on our way' })
    talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'she is fitting' })
    talk.answersAll({ 'ring-back': { kind: 'phone', number: 'write-only' } })
    const before = talk.replies().length
    talk.waits(6 * 60)
    const asked = talk
      .replies()
      .slice(before)
      .flatMap(({ reply }) => reply.parts)
      .filter(part => part.kind === 'ask')
    expect(asked).toEqual([])
    expect(talk.alarms.has('arrival')).toBe(false)
  })
})

describe('a corrected answer', () => {
  it('that shows an emergency raises the page to one for an ambulance', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' })
    talk.answers('danger-signs', 'unsure').answers('wakes', 'yes')
    expect(talk.pages().map(({ page }) => page.urgency)).toEqual(['speak'])
    talk.corrects('wakes', 'no')
    expect(talk.state.kernel.talk).toMatch(/^shared\/emergency/)
    expect(talk.pages().at(-1)?.page).toMatchObject({ reason: 'danger', urgency: 'ambulance' })
    expect(talk.state.callout.urgency).toBe('ambulance')
    const pages = talk.pages().length
    talk.does({ kind: 'travelRefused', said: 'we have no car' })
    const reasons = talk
      .pages()
      .slice(pages)
      .map(({ page }) => page.reason)
    expect(reasons).not.toContain('danger')
  })

  it('that takes back "we have left" is chased again', () => {
    const talk = aTalk().says()
    talk.answersAll({ ...PLAIN, 'have-you-left': 'no', 'can-travel': 'yes' })
    talk.waits(11)
    talk.answers('have-you-left', 'yes')
    talk.waits(2)
    talk.corrects('have-you-left', 'no')
    expect(talk.state.kernel.talk).toBe('shared/not-left')
    talk.waits(15)
    expect(talk.asked()).toBe('have-you-left')
  })

  it('that takes back "we are there" is chased again', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' })
    talk.does({ kind: 'leftSaid', said: 'we are on our way' })
    const arrival = talk.alarms.get('arrival') ?? talk.now
    talk.answers('have-you-arrived', 'yes')
    talk.waits((arrival - talk.now) / 60_000 + 5)
    talk.corrects('have-you-arrived', 'no')
    talk.waits(1)
    expect(talk.asked()).toBe('have-you-arrived')
  })
})
