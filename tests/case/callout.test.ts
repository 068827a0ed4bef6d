import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { step } from '../../src/case/step.ts'
import type { Clinic } from '../../src/oncall/clinic.ts'
import { instant } from '../../src/time/instant.ts'
import { aLine, demoClinic, NIGHT } from '../support/a-line.ts'
import { AMARA, aTalk, type CaseTalk, isPage, isReply, MIN, PLAIN, saidIn } from '../support/case-talk.ts'
import { answersToAll } from './answers-drawn.ts'
import { anEvent, happens } from './events-drawn.ts'

const line = aLine()
const INGRID = { id: 'ingrid', name: 'Dr. Ingrid Solheim', role: 'stomach and gut doctor' }

/** Minutes since the start, who was paged and why. */
const paged = (talk: CaseTalk) => talk.pages().map(({ at, page }) => `${(at - NIGHT) / MIN} ${page.to} ${page.why}`)
/** Minutes at which a notice was said. */
const toldAt = (talk: CaseTalk, id: string) =>
  talk.replies().flatMap(({ at, reply }) => (saidIn(reply).includes(id) ? [(at - NIGHT) / MIN] : []))

const setOut = () =>
  aTalk(line).says({ 'in-opening': 'nothing', device: 'balloon-long' }).answers('danger-signs', ['none'])
const speak = () => aTalk(line).says({ 'in-opening': 'same-tube', device: 'nasal' }).answers('danger-signs', ['none'])

const clinicWithoutAnybody = (): Clinic => ({ ...demoClinic(), ladder: [] })

describe('a hole in the rota at the moment of a page', () => {
  const noLeave = demoClinic()
  const away = (...who: string[]): Clinic => ({
    ...noLeave,
    rota: {
      ...noLeave.rota,
      leave: who.map(one => ({ who: one, from: { day: 20_000, minute: 0 }, until: { day: 30_000, minute: 0 } })),
    },
  })
  const outOf = (clinic: Clinic) =>
    aTalk(aLine({}, { clinic }))
      .says({ 'in-opening': 'nothing', device: 'balloon-long' })
      .answers('danger-signs', ['none'])

  it('goes to the next rung at once, not after its minutes', () => {
    expect(paged(outOf(away('amara')))).toEqual(['0 ingrid page'])
    expect(paged(outOf(away('amara', 'ingrid')))).toEqual(['0 ward-desk page'])
  })

  it('where the whole ladder leads to nobody, everybody who could answer is paged at once, and the family is told', () => {
    const talk = outOf(clinicWithoutAnybody())
    const reached = talk.pages().map(({ page }) => page.to)
    expect(reached).toEqual(['day-desk', 'ward-desk', 'amara', 'tomas', 'linh', 'yusuf', 'ingrid'])
    expect(toldAt(talk, 'nobody-on-call')).toEqual([0])
    talk.waits(11)
    expect(talk.pages().filter(({ page }) => page.to === 'amara')).toHaveLength(2)
  })

  it('whoever comes on call later is paged from then on, and alone', () => {
    // Amara is back 15 minutes after the night's first message; the ladder has no other rung.
    const back = new Date(NIGHT + 15 * MIN)
    const local = new Date(back.getTime() - 5 * 3_600_000)
    const day = Math.floor(local.getTime() / 86_400_000)
    const minute = local.getUTCHours() * 60 + local.getUTCMinutes()
    const clinic: Clinic = {
      ...noLeave,
      ladder: noLeave.ladder.filter(rung => rung.kind === 'role' && rung.role === 'first'),
      rota: { ...noLeave.rota, leave: [{ who: 'amara', from: { day: 20_000, minute: 0 }, until: { day, minute } }] },
    }
    const talk = outOf(clinic).waits(21)
    const later = talk.pages().filter(({ at }) => at >= NIGHT + 15 * MIN)
    expect(
      later
        .filter(({ page }) => page.why !== 'update')
        .map(({ at, page }) => `${(at - NIGHT) / MIN} ${page.to} ${page.why}`),
    ).toEqual(['20 amara repeat'])
  })
})

describe('the ladder', () => {
  // Minutes 3, 5, 10 and 10, 20, 30: the shipped settings ladder-urgent and ladder-speak; the first row after an
  // emergency standard's page limits, the second our own.
  it('to hospital: again at 3 minutes, the next at 5, everyone and the family told at 10', () => {
    const talk = setOut().waits(11)
    expect(talk.state.callout.urgency).toBe('set-out')
    expect(paged(talk)).toEqual([
      '0 amara page',
      '3 amara repeat',
      '5 ingrid page',
      '10 amara repeat',
      '10 ingrid repeat',
      '10 ward-desk page',
    ])
    expect(toldAt(talk, 'nobody-answered')).toEqual([10])
  })

  it('an ambulance: the same minutes', () => {
    const talk = aTalk(line).says({}, ['fit']).waits(11)
    expect(paged(talk).map(row => row.split(' ')[0])).toEqual(['0', '3', '5', '10', '10', '10'])
    expect(toldAt(talk, 'nobody-answered')).toEqual([10])
  })

  it('to speak: again at 10 minutes, the next at 20, everyone and the family told at 30', () => {
    const talk = speak()
    expect(talk.state.callout.urgency).toBe('speak')
    const ladder = talk
      .waits(31)
      .pages()
      .filter(({ page }) => page.why !== 'update')
    expect(ladder.slice(0, 3).map(({ at, page }) => `${(at - NIGHT) / MIN} ${page.to} ${page.why}`)).toEqual([
      '0 amara page',
      '10 amara repeat',
      '20 ingrid page',
    ])
    expect(toldAt(talk, 'nobody-answered')).toEqual([30])
  })

  it('goes on for as long as nobody answers, and says so', () => {
    const talk = setOut().waits(61)
    expect(talk.state.kernel.callout).toBe('everyone')
    expect(toldAt(talk, 'still-nobody').length).toBeGreaterThanOrEqual(4)
    expect(talk.pages().filter(({ page }) => page.to === 'ward-desk').length).toBeGreaterThanOrEqual(5)
  })

  it('follows the minutes that a clinic sets', () => {
    const quick = aTalk(aLine({ 'ladder-urgent': ['PT1M', 'PT2M', 'PT4M'] }))
    quick.says({ 'in-opening': 'nothing', device: 'balloon-long' }).answers('danger-signs', ['none']).waits(5)
    expect(paged(quick).map(row => row.split(' ')[0])).toEqual(['0', '1', '2', '4', '4', '4'])
  })

  it('quickens when "speak" becomes "set out": again 3 minutes later, then as if it had begun so', () => {
    const talk = speak().waits(1).does({ kind: 'travelRefused', said: 'no car' })
    expect(talk.state.disposition?.id).toBe('set-out')
    talk.waits(9.5)
    expect(paged(talk).filter(row => !row.endsWith('update'))).toEqual([
      '0 amara page',
      '4 amara repeat',
      '5 ingrid page',
      '10 amara repeat',
      '10 ingrid repeat',
      '10 ward-desk page',
    ])
  })

  it('quickens too when everyone was paged already: everyone again 3 minutes after danger was said, not 30', () => {
    const someone = aTalk(line, 'someone').says().answers('danger-signs', ['none']).waits(31)
    expect(someone.state.callout.urgency).toBe('speak')
    expect(someone.state.kernel.callout).toBe('everyone')
    const before = someone.pages().length
    someone.does({ kind: 'dangerSaid', signs: ['fit'], said: 'a fit' }).waits(3)
    const again = someone
      .pages()
      .slice(before)
      .filter(({ page }) => page.why !== 'update')
    expect(again.map(({ at, page }) => `${(at - NIGHT) / MIN} ${page.to} ${page.urgency}`)).toEqual([
      '34 amara ambulance',
      '34 ingrid ambulance',
      '34 ward-desk ambulance',
    ])
  })

  it('leaves those on the road in peace: told once that nobody answered, paging goes on', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, 'have-you-left': 'yes' })
      .waits(120)
    expect(toldAt(talk, 'nobody-answered')).toEqual([10])
    expect(toldAt(talk, 'still-nobody')).toEqual([])
    expect(talk.pages().filter(({ page }) => page.to === 'ward-desk' && page.why !== 'update').length).toBeGreaterThan(
      9,
    )
  })

  it('moves on at once when a page cannot be sent', () => {
    const talk = setOut().does({ kind: 'pageSettled', pageId: 'p1', to: 'amara', outcome: 'given-up' })
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'ingrid', why: 'page' }])
    talk.does({ kind: 'pageSettled', pageId: 'p2', to: 'ingrid', outcome: 'given-up' })
    expect(talk.state.kernel.callout).toBe('everyone')
    expect(talk.said()).toContain('nobody-answered')
  })

  it('knows two pages to one person apart: the earlier one that failed late moves nothing', () => {
    const talk = setOut()
    const first = `case-1.${talk.state.seq}.1`
    talk.waits(3.5)
    const again = `case-1.${talk.state.seq}.0`
    expect(talk.state.kernel.callout).toBe('again')
    talk.does({ kind: 'pageSettled', pageId: first, to: 'amara', outcome: 'given-up' })
    expect(talk.state.kernel.callout).toBe('again')
    expect(talk.state.callout.pages.map(page => page.outcome)).toEqual(['given-up', 'sent'])
    talk.does({ kind: 'pageSettled', pageId: again, to: 'amara', outcome: 'given-up' })
    expect(talk.state.kernel.callout).toBe('next')
  })

  it('does not move for a page that was delivered or opened', () => {
    const talk = setOut()
    talk
      .does({ kind: 'pageSettled', pageId: 'p1', to: 'amara', outcome: 'accepted' })
      .does({ kind: 'pageOpened', pageId: 'p1', by: 'amara' })
    expect(talk.state.kernel.callout).toBe('first')
    expect(paged(talk.waits(3.5))).toContain('3 amara repeat')
  })

  it('tells a family at once when nobody at all can be paged, and keeps trying', () => {
    const talk = aTalk(aLine({}, { clinic: clinicWithoutAnybody() }))
    talk.says({ 'in-opening': 'nothing', device: 'balloon-long' }).answers('danger-signs', ['none'])
    expect(talk.said()).toContain('nobody-on-call')
    expect(talk.said()).not.toContain('paged')
    const told = talk.parts().find(part => part.kind === 'notice' && part.id === 'nobody-on-call')
    expect(told !== undefined && 'text' in told ? told.text : '').toMatch(/212 555 0110/)
    expect(talk.alarms.get('rung')).toBeGreaterThan(NIGHT)
  })
})

describe('an acknowledgement', () => {
  it('alone stops the ladder; who else was paged is told, and so is the family, by name', () => {
    const talk = setOut().waits(6)
    talk.takes({ kind: 'ringing-by', by: instant(talk.now + 15 * MIN) }, INGRID)
    expect(talk.alarms.has('rung')).toBe(false)
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'amara', why: 'taken' }])
    const told = talk.parts().find(part => part.kind === 'notice' && part.id === 'taken-ringing-by')
    expect(told !== undefined && 'text' in told ? told.text : '').toContain('I will ring you by 2:31 am')
    const before = talk.pages().length
    talk.waits(19)
    expect(
      talk
        .pages()
        .slice(before)
        .filter(({ page }) => page.why === 'repeat' || page.why === 'page'),
    ).toEqual([])
  })

  it('the same answer to two pages within a minute is told once; later, or another answer, it is told again', () => {
    const talk = setOut().waits(4)
    talk.takes({ kind: 'ringing-now' })
    const promised = talk.state.callout.taken?.promisedAt
    talk.takes({ kind: 'ringing-now' })
    expect(toldAt(talk, 'taken-ringing-now')).toEqual([4])
    expect(talk.state.callout.taken?.promisedAt).toBe(promised)
    talk.takes({ kind: 'go-in' })
    expect(toldAt(talk, 'taken-go-in')).toEqual([4])
    talk.waits(2).takes({ kind: 'ringing-now' }).waits(2).takes({ kind: 'ringing-now' })
    expect(toldAt(talk, 'taken-ringing-now')).toEqual([4, 6, 8])
  })

  it('a promised call that does not come: five minutes later the same and the next are paged and the family told', () => {
    const talk = setOut().waits(1).takes()
    const due = talk.now + 15 * MIN
    expect(talk.alarms.get('promise')).toBe(due + 5 * MIN)
    talk.waits(19.9)
    expect(toldAt(talk, 'promise-broken')).toEqual([])
    talk.waits(0.2)
    expect(toldAt(talk, 'promise-broken')).toEqual([21])
    const again = talk.pages().filter(({ at }) => at === due + 5 * MIN)
    expect(again.map(({ page }) => `${page.to} ${page.why}`)).toEqual(['amara repeat', 'ingrid page'])
    expect(paged(talk.waits(6)).at(-1)).toBe('26 ward-desk page')
  })

  it('a call that was made keeps the promise', () => {
    const talk = setOut().takes().does({ kind: 'callMade', by: AMARA })
    expect(talk.alarms.has('promise')).toBe(false)
    expect(toldAt(talk.waits(40), 'promise-broken')).toEqual([])
  })

  it('"they rang me" is none: it is noted and passed on, and an unanswered ladder goes on', () => {
    const talk = setOut().does({ kind: 'familyRungSaid' })
    expect(talk.said()).toContain('family-rang-noted')
    expect(talk.state.kernel.callout).toBe('first')
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'amara', why: 'update' }])
    expect(paged(talk.waits(11))).toEqual(
      expect.arrayContaining(['3 amara repeat', '5 ingrid page', '10 ward-desk page']),
    )
  })

  it('passed on: the next is paged at once and the family told', () => {
    const talk = setOut().takes().does({ kind: 'passedOn', by: AMARA })
    expect(talk.said()).toContain('passed-on')
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'ingrid', why: 'page' }])
  })

  it('from then on the bot gives no new advice, but in danger', () => {
    fc.assert(
      fc.property(answersToAll, answers => {
        const talk = setOut().takes()
        for (let i = 0; i < 30; i++) {
          const open = talk.asked()
          const answer = open === undefined ? undefined : answers[open]
          if (open === undefined || answer === undefined) break
          talk.answers(open, answer)
          const acts = talk.parts().filter(part => part.kind === 'advice')
          if (acts.length > 0) expect.fail(`said ${JSON.stringify(acts)}`)
        }
        talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'a fit' })
        expect(talk.said()[0]).toBe('ring-emergency')
      }),
      { numRuns: 60 },
    )
  })

  it('what a family asks for is answered all the same', () => {
    expect(setOut().takes().does({ kind: 'personWanted', said: 'help' }).said()).toContain('ring-clinic')
    expect(setOut().takes().does({ kind: 'travelRefused', said: 'no car' }).said()).toContain('ring-transport')
  })
})

describe('"do not write"', () => {
  it('ends every word to the family, for good, whatever happens after', () => {
    fc.assert(
      fc.property(
        answersToAll,
        fc.array(anEvent, { maxLength: 12 }),
        fc.array(anEvent, { maxLength: 15 }),
        (answers, before, later) => {
          const talk = aTalk(line).says()
          for (const event of before) happens(talk, event, answers)
          talk.does({ kind: 'outcomeSet', by: AMARA, outcome: 'died', doNotWrite: true })
          expect(talk.effects.filter(isReply)).toEqual([])
          expect([...talk.alarms.keys()]).toEqual([])
          const written = talk.replies().length
          for (const event of later) happens(talk, event, answers)
          talk.waits(24 * 60)
          expect(talk.replies().length).toBe(written)
        },
      ),
      { numRuns: 150 },
    )
  })

  it('an outcome without it closes the case a day later, with a word now and none then', () => {
    const talk = setOut().takes().does({ kind: 'outcomeSet', by: AMARA, outcome: 'advice-given', doNotWrite: false })
    expect(talk.said()).toEqual(['closed'])
    talk.waits(24 * 60 + 1)
    expect(talk.state.closed).toBe(true)
    expect(talk.effects).toContainEqual({ kind: 'closeCase' })
    expect(talk.effects.filter(isReply)).toEqual([])
  })
})

describe('an outcome set while people are still being paged', () => {
  it('ends the paging; passed on after that, the next person is paged and it does not close by itself', () => {
    const talk = setOut().waits(11)
    expect(talk.state.kernel.callout).toBe('everyone')
    talk.does({ kind: 'outcomeSet', by: AMARA, outcome: 'not-reached', doNotWrite: false })
    expect(talk.state.kernel.callout).toBe('settled')
    const before = talk.pages().length
    talk.waits(60)
    expect(talk.pages()).toHaveLength(before)
    talk.does({ kind: 'passedOn', by: AMARA })
    expect(talk.effects.filter(isPage)).toMatchObject([{ to: 'ingrid', why: 'page' }])
    expect(talk.state.outcome).toBeUndefined()
    talk.waits(24 * 60)
    expect(talk.state.closed).toBe(false)
    expect(talk.state.kernel.callout).toBe('everyone')
  })
})

describe('silence', () => {
  it('at 10 minutes the question is asked again, at 20 the clinic is paged and the family told so', () => {
    const talk = aTalk(line).says().waits(9.9)
    expect(talk.log).toHaveLength(1)
    talk.waits(0.2)
    expect(talk.said()).toEqual(['are-you-there', 'worse-silent', 'ask:in-opening'])
    expect(talk.pages()).toEqual([])
    talk.waits(10)
    expect(talk.pages()).toMatchObject([{ at: NIGHT + 20 * MIN, page: { reason: 'lost-contact', to: 'amara' } }])
    expect(toldAt(talk, 'silence-paged')).toEqual([20])
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.asked()).toBe('in-opening')
  })

  it('an answer starts the minutes again', () => {
    const talk = aTalk(line).says().waits(9).answers('in-opening', 'nothing').waits(9)
    expect(talk.log).toHaveLength(2)
    expect(talk.waits(1.1).said()).toContain('are-you-there')
  })

  it('after "we have left" nobody is asked until the expected arrival and its grace', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, 'have-you-left': 'yes' })
    expect(talk.asked()).toBe('have-you-arrived')
    talk.takes({ kind: 'go-in' })
    const said = talk.replies().length
    talk.waits(34)
    expect(
      talk
        .replies()
        .slice(said)
        .map(({ reply }) => saidIn(reply)),
    ).toEqual([])
    talk.waits(1.5)
    expect(talk.said()).toEqual(['ask:have-you-arrived'])
  })
})

describe('somebody of the day is named for the case', () => {
  const malia = { id: 'malia', name: 'Malia Kealoha', role: 'ward clerk' }
  const named = { kind: 'dayTaken', by: AMARA, taker: malia } as const

  it('the family hears who, once, and paging goes on: only an answer to a page stops it', () => {
    const talk = setOut()
    talk.does(named)
    expect(talk.said()).toContain('day-taken')
    expect(JSON.stringify(talk.parts())).toContain('Malia Kealoha')
    expect(talk.state.kernel.callout).not.toBe('taken')
    const before = talk.pages().length
    talk.waits(4)
    expect(talk.pages().length).toBeGreaterThan(before)
    talk.does(named)
    expect(talk.said()).not.toContain('day-taken')
  })

  it('is kept on a case that a clinician has ended, without a word to the family', () => {
    const talk = setOut().takes().does({ kind: 'outcomeSet', by: AMARA, outcome: 'died', doNotWrite: true })
    talk.does(named)
    expect(talk.state.day?.taker).toEqual(malia)
    expect(talk.effects).toEqual([])
  })
})

describe('somebody else comes on call while people are being paged', () => {
  const linhTonight = (): Clinic => ({
    ...demoClinic(),
    ladder: [{ when: { kind: 'always' }, kind: 'person', id: 'linh' }, ...demoClinic().ladder],
  })
  const changedNow = (talk: CaseTalk) =>
    step({ ...line, clinic: linhTonight() }, talk.state, { kind: 'rotaChanged', by: AMARA }, talk.now)

  it('they are paged at once, and stand first; whoever was paged before stays on the ladder', () => {
    const { state, effects } = changedNow(setOut())
    expect(effects.filter(isPage).map(({ to, why }) => [to, why])).toEqual([['linh', 'page']])
    expect(state.callout.ladder.slice(0, 2)).toEqual(['linh', 'amara'])
    expect(state.kernel.callout).toBe('first')
  })

  it('a case that is taken, and one that pages nobody, are left as they are', () => {
    expect(changedNow(setOut().takes()).effects).toEqual([])
    expect(changedNow(aTalk(line).says()).effects).toEqual([])
  })

  it('somebody who was paged already is not paged again for it', () => {
    const talk = setOut()
    expect(step(line, talk.state, { kind: 'rotaChanged', by: AMARA }, talk.now).effects).toEqual([])
  })
})
