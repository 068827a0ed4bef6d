import { describe, expect, it } from 'vitest'
import { aLine } from '../support/a-line.ts'
import { aTalk, type CaseTalk, phone, saidIn, weeksAgo } from '../support/case-talk.ts'

// Found by the checker on 2026-11-30, walking what follows a changed answer: what the line had told a family to do was forgotten
// with the answer that led to it.

const allSaid = (talk: CaseTalk) => talk.replies().flatMap(({ reply }) => saidIn(reply))

describe('a medicine question changed after feed was stopped', () => {
  it('asks whether the child can be without feed before the family waits', () => {
    const talk = aTalk(aLine(), 'medicine').says()
    talk.answers('danger-signs', ['none']).answers('medicine-trouble', 'missed').answers('first-placed', weeksAgo(0.5))
    expect(talk.asked()).toBe('early-signs')
    expect(talk.said()).toContain('stop-medicines')
    talk.corrects('medicine-trouble', 'too-much').answers('ring-back', phone)
    expect(talk.asked()).toBe('fasting-risk')
    expect(allSaid(talk)).not.toContain('waiting-for-call')
  })

  it('leaves a steroid emergency as it is', () => {
    const talk = aTalk(aLine(), 'medicine').says()
    talk.answersAll({
      'danger-signs': ['none'],
      'medicine-trouble': 'came-up',
      'first-placed': weeksAgo(4),
      'critical-medicine-due': 'yes',
      'child-has': ['none'],
      'ring-back': phone,
      'fasting-risk': ['steroid-dependent'],
      'unwell-too': 'yes',
    })
    expect(talk.state.disposition?.id).toBe('ambulance')
    talk.corrects('medicine-trouble', 'too-much')
    expect(talk.state.disposition?.id).toBe('ambulance')
    expect(allSaid(talk)).not.toContain('waiting-for-call')
  })

  it('stops nothing where nothing was stopped', () => {
    const talk = aTalk(aLine(), 'medicine').says()
    talk.answers('danger-signs', ['none']).answers('medicine-trouble', 'missed')
    talk.corrects('medicine-trouble', 'too-much').answers('ring-back', phone)
    expect(allSaid(talk)).toContain('waiting-for-call')
    expect(allSaid(talk)).not.toContain('ask:fasting-risk')
  })
})

describe('a blocked tube whose kind is corrected after the flush was told', () => {
  const flushed = (device: string) =>
    aTalk(aLine(), 'clogged')
      .says({ device })
      .answersAll({
        'danger-signs': ['none'],
        'first-placed': weeksAgo(50),
        replaced: 'not-tried',
        'who-writes': 'parent',
        'pain-on-feed': 'no',
        'length-outside': 'same',
        'wrong-port': ['none'],
      })

  it('is not told a second flush where it goes on into the bowel', () => {
    const talk = flushed('balloon-button')
    expect(talk.said()).toContain('flush-gently')
    talk.corrects('device', 'into-bowel')
    expect(talk.said()).not.toContain('flush-bowel')
    expect(talk.asked()).toBe('flush')
    talk.answers('flush', 'still-blocked')
    expect(talk.said()).toContain('no-more-water')
    expect(talk.state.disposition?.id).toBe('speak')
  })

  it('is told the one flush where none was told before', () => {
    expect(flushed('into-bowel').said()).toContain('flush-bowel')
  })
})
