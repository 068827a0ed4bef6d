import { describe, expect, it } from 'vitest'
import { aLine, NIGHT } from '../support/a-line.ts'
import { aTalk, minutesAgo, PLAIN, phone, type Said, takes, weeksAgo } from '../support/case-talk.ts'

/** Conversations that a check of the shipped flows once brought to light, on the running bot. */

const HOLD: Readonly<Record<string, Said>> = {
  ...PLAIN,
  'danger-signs': ['none'],
  'in-opening': 'nothing',
  device: 'balloon-button',
  'out-since': minutesAgo(10),
  travel: takes(20),
  'ring-back': phone,
  'first-placed': weeksAgo(8),
  'changed-before': 'yes',
  'tube-found': 'yes',
  'pain-or-bleeding': 'no',
  'tried-already': 'no',
  taught: ['hold-open'],
  spare: 'smaller',
  'with-child': 'yes',
}

describe('a page that runs out before danger was asked about', () => {
  it('decides hospital and still asks about danger, before anything else', () => {
    const talk = aTalk().says()
    talk.does({ kind: 'personWanted', said: 'a person, please' }).waits(31)
    expect(talk.state.disposition?.id).toBe('set-out')
    talk.answersAll({ 'ring-back': phone, 'in-opening': 'unsure' })
    expect(talk.asked()).toBe('danger-signs')
  })

  it('keeps an open single check open', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' }).answers('danger-signs', 'unsure').answers('wakes', 'yes')
    talk.waits(31)
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.asked()).toBe('breathes')
  })
})

describe('an opening held open while its tract comes of age', () => {
  it('is not told a second time, in other words, to hold it open', () => {
    const line = aLine({ 'hold-open-new': 'on', 'hold-open-settled': 'on' })
    const days = (count: number): Said => minutesAgo(count * 24 * 60)
    const { replaced: _result, ...answers } = HOLD
    const talk = aTalk(line)
      .says()
      .answersAll({ ...answers, 'first-placed': days(7 * 12 - 0.01) })
    expect(talk.asked()).toBe('replaced')
    expect(talk.log.flatMap(({ effects }) => JSON.stringify(effects)).join()).toContain('hold-once-new')
    talk.waits(25)
    expect(talk.log.flatMap(({ effects }) => JSON.stringify(effects)).join()).not.toContain('"hold-once"')
    expect(talk.state.inForce).toHaveProperty('hold-once-new')
  })
})

describe('a family on the way that falls silent', () => {
  const GOES: Readonly<Record<string, Said>> = {
    'danger-signs': ['none'],
    'in-opening': 'nothing',
    device: 'no-balloon',
    'out-since': minutesAgo(100),
    travel: takes(20),
    'ring-back': phone,
    'first-placed': weeksAgo(60),
    'fasting-risk': ['none'],
  }
  const lostAt = (talk: ReturnType<typeof aTalk>) =>
    talk.pages().flatMap(({ at, page }) => (page.reason === 'lost-contact' ? [Math.round((at - NIGHT) / 60_000)] : []))

  it('is paged as lost 20 minutes after it was asked whether it has arrived', () => {
    const talk = aTalk().says().answersAll(GOES).answers('have-you-left', 'yes').waits(60)
    expect(talk.asked()).toBe('have-you-arrived')
    expect(lostAt(talk)[0]).toBe(20 + 15 + 20)
  })

  it('is paged as lost 20 minutes after it was asked again whether it has left', () => {
    const talk = aTalk().says().answersAll(GOES).answers('have-you-left', 'no').answers('can-travel', 'yes').waits(40)
    expect(talk.asked()).toBe('have-you-left')
    expect(lostAt(talk)[0]).toBe(10 + 20)
  })
})

describe('feed that was stopped on an answer that is changed later', () => {
  const skin: Readonly<Record<string, Said>> = {
    'danger-signs': ['none'],
    'first-placed': weeksAgo(52),
    'skin-signs': ['sore-ring'],
    temperature: { kind: 'choice', value: 'feels-normal' },
    'pain-on-feed': 'no',
    'plate-fit': 'as-usual',
    'ring-for': 'under-two-days',
  }

  it('is not started by the change: a clinician says, and it is asked whether the child can be without it', () => {
    const talk = aTalk(aLine(), 'skin')
      .says()
      .answersAll({ ...skin, 'skin-signs': ['dark-or-black'] })
    expect(talk.asked()).toBe('ring-back')
    talk.corrects('skin-signs', ['sore-ring']).answersAll({ ...skin, 'ring-back': phone })
    expect(talk.state.disposition?.id).toBe('speak')
    expect(talk.said()).not.toContain('waiting-for-call')
    expect(talk.asked()).toBe('fasting-risk')
  })

  it('"stop the feed if it gets worse" counts once it got worse, and is no reason for a page by itself', () => {
    const talk = aTalk(aLine(), 'skin').says().answersAll(skin)
    expect(talk.state.disposition?.id).toBe('at-home')
    talk.corrects('ring-for', 'over-two-days')
    expect(talk.state.disposition?.id).toBe('tell-clinic')
    talk.corrects('skin-signs', ['pus']).answersAll({ ...skin, 'ring-back': phone })
    expect(talk.asked()).toBe('fasting-risk')
  })
})
