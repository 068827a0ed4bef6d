import { describe, expect, it } from 'vitest'
import { aLine } from '../support/a-line.ts'
import { aTalk, minutesAgo, PLAIN, phone, type Said, takes, weeksAgo } from '../support/case-talk.ts'

/** A tube put back before the message, settled, in easily: waiting for a clinician. */
const PUT_BACK: Readonly<Record<string, Said>> = {
  'danger-signs': ['none'],
  device: 'balloon-long',
  replaced: 'went-in-easily',
  'pain-or-bleeding': 'no',
  'changed-before': 'yes',
  'first-placed': weeksAgo(40),
  'ring-back': phone,
  'fasting-risk': ['continuous-feed'],
  'unwell-too': 'no',
  'own-plan': ['fasting'],
  'critical-medicine-due': 'no',
  'last-feed': minutesAgo(60),
  'feed-running': 'no',
}

const LOCK_OPEN: Readonly<Record<string, Said>> = {
  ...PLAIN,
  'out-since': minutesAgo(10),
  'tried-already': 'no',
  taught: ['replace'],
  spare: 'same-size',
  'came-out-with': 'balloon-empty',
  'skin-signs': ['none'],
  'difficult-before': 'no',
  'with-child': 'yes',
  replaced: 'went-in-easily',
}

describe('what time moved stays moved', () => {
  it('a page that ran out sends a family to hospital, and a later correction does not call it back', () => {
    const talk = aTalk().says({ 'in-opening': 'same-tube' }).answersAll(PUT_BACK)
    expect(talk.state.disposition?.id).toBe('speak')
    talk.waits(31)
    expect(talk.state.disposition?.id).toBe('set-out')
    talk.corrects('feed-running', 'yes')
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.said().filter(id => id.startsWith('stop:'))).toEqual([])
    expect(talk.asked()).toBe('travel')
  })

  it('an alarm that the emergency steps absorbed does not come back after a wrong tap', () => {
    const talk = aTalk().says().answersAll(PLAIN)
    talk.does({ kind: 'dangerSaid', signs: ['drowsy'], said: 'floppy' }).waits(60)
    talk.does({ kind: 'wrongTapSaid' })
    expect(talk.state.kernel.talk).not.toBe('resuming')
    expect(talk.asked()).toBe('danger-signs')
    expect(talk.state.disposition?.id).toBe('ambulance')
  })
})

describe('a follow-up', () => {
  it('asked again is open until it is answered anew, whatever interrupts it', () => {
    const talk = aTalk().says().answersAll(PLAIN)
    expect(talk.asked()).toBe('have-you-left')
    talk.answers('have-you-left', 'no').answersAll({ 'can-travel': 'yes' }).waits(11)
    expect(talk.asked()).toBe('have-you-left')
    talk.waits(10)
    expect(talk.asked(), 'after the question was asked again in silence').toBe('have-you-left')
    talk.does({ kind: 'personWanted', said: 'a person please' })
    expect(talk.asked(), 'after asking for a person').toBe('have-you-left')
  })

  it('comes again its full time after each "not yet"', () => {
    const talk = aTalk().says().answersAll(PLAIN)
    for (const round of [1, 2, 3]) {
      talk.answers('have-you-left', 'no').answersAll({ 'can-travel': 'yes' })
      talk.waits(9)
      expect(talk.asked(), `round ${round}, after 9 minutes`).toBeUndefined()
      talk.waits(2)
      expect(talk.asked(), `round ${round}, after 11 minutes`).toBe('have-you-left')
    }
  })

  it('a family on the road is not told anew that the way is far', () => {
    const talk = aTalk()
      .says()
      .answersAll({ ...PLAIN, travel: takes(30) })
    talk.answers('have-you-left', 'yes').waits(100)
    talk.corrects('first-placed', weeksAgo(20))
    const told = talk.replies().at(-1)
    expect(told?.reply.parts.some(part => part.kind === 'say' && part.id === 'far-away')).toBe(false)
  })
})

describe('"we have left", said while something else is asked', () => {
  const left = () =>
    aTalk()
      .says()
      .answersAll({
        'in-opening': 'nothing',
        'danger-signs': ['none'],
        device: 'balloon-long',
        'out-since': minutesAgo(20),
      })

  it('ends the questions: the driver is told to put the phone away, and the clinician that they are on the road', () => {
    const talk = left()
    expect(talk.asked()).toBe('travel')
    talk.does({ kind: 'leftSaid', said: 'we have left' })
    expect(talk.said()).toContain('on-the-road')
    expect(talk.asked()).toBe('have-you-arrived')
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.pages().at(-1)?.page.reason).toBe('left')
  })

  it('stays so when an earlier answer is changed', () => {
    const talk = left().does({ kind: 'leftSaid', said: 'we have left' })
    talk.corrects('out-since', minutesAgo(50))
    expect(talk.asked()).toBe('have-you-arrived')
    expect(talk.state.disposition?.id).toBe('set-out')
  })
})

describe('a step that is come to again', () => {
  it('says its advice again: nobody who answers gets silence', () => {
    const talk = aTalk().says().answersAll(PLAIN)
    for (const _round of [1, 2, 3]) {
      talk.answers('have-you-left', 'no').answers('can-travel', 'no')
      expect(talk.said()).toContain('ring-transport')
      talk.waits(11)
      if (talk.asked() === 'can-travel') break
    }
    talk.answers('can-travel', 'no')
    expect(talk.said()).toContain('ring-transport')
  })
})

describe('an answer changed after the one attempt', () => {
  it('leaves what is in the opening in: hospital, and the lines on a tube that is in still hold', () => {
    const talk = aTalk(aLine({ 'home-replacement': 'on' }))
      .says()
      .answersAll(LOCK_OPEN)
    expect(talk.state.disposition?.id).toBe('speak')
    talk.corrects('spare', 'smaller')
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.said()).toContain('stop:replace-once')
    expect(talk.said()).not.toContain('stop:leave-in-place')
    expect(talk.said()).not.toContain('stop:secure-tube')
    expect(Object.keys(talk.state.inForce)).toContain('leave-in-place')
  })
})

describe('a reply that asks for an act', () => {
  it('names a number to ring, also when a correction leaves out the lines already said', () => {
    const talk = aTalk().says().answersAll(PLAIN)
    talk.corrects('in-opening', 'same-tube')
    const advice = talk.parts().flatMap(part => (part.kind === 'advice' ? [part] : []))
    expect(advice.length).toBeGreaterThan(0)
    expect(advice.some(part => part.tags.includes('call-emergency'))).toBe(true)
  })
})
