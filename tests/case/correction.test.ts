import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { NEVER } from '../../src/case/alarm.ts'
import type { Answer } from '../../src/case/answer.ts'
import { aLine } from '../support/a-line.ts'
import { aTalk, type CaseTalk, minutesAgo, PLAIN, takes } from '../support/case-talk.ts'
import { anAnswerTo, answersToAll, questions } from './answers-drawn.ts'

/** Where a case stands, as far as it follows from the answers: who was paged, and what the line told them to stop, is history. */
function standing({ state }: CaseTalk) {
  const { 'feed-told-off': _told, ...facts } = state.kernel.facts
  // One whose moment the correction moved into the past is due at once, and tells the clinician so: history as well.
  const alarms = Object.entries(state.alarms).filter(
    ([name, { due }]) => !/^(rung|promise|silent-)/.test(name) && due !== NEVER && due > state.latestSeenAt,
  )
  return {
    talk: state.kernel.talk,
    facts,
    closure: state.kernel.closure,
    open: state.open?.fact,
    disposition: state.disposition?.id,
    inForce: Object.keys(state.inForce).sort(),
    reasons: [...new Set(state.path.reasons)].sort(),
    alarms: alarms.map(([name, { due }]) => `${name} ${due}`).sort(),
  }
}

const line = aLine()
const drawn = fc
  .tuple(answersToAll, fc.nat(), fc.constantFrom(...questions))
  .chain(([answers, stop, fact]) => anAnswerTo(fact).map(other => ({ answers, stop, fact, other })))

describe('a corrected answer', () => {
  it('leaves the case as if it had been given right the first time', () => {
    let compared = 0
    fc.assert(
      fc.property(drawn, ({ answers, stop, fact, other }) => {
        const right: Record<string, Answer> = { ...answers, [fact]: other }
        const corrected = aTalk(line).says()
        for (let left = stop % 20; left > 0; left--) {
          const open = corrected.asked()
          const answer = open === undefined ? undefined : answers[open]
          if (open === undefined || answer === undefined) break
          corrected.answers(open, answer)
        }
        fc.pre(
          corrected.state.path.asked.includes(fact) && fact in corrected.state.answers && corrected.asked() !== fact,
        )
        compared++
        corrected.corrects(fact, other).answersAll(right)
        const direct = aTalk(line).says().answersAll(right)
        expect(standing(corrected)).toEqual(standing(direct))
      }),
      { numRuns: 400, maxSkipsPerRun: 200 },
    )
    expect(compared).toBeGreaterThanOrEqual(400)
  })

  it('does the same with every lock on, as long as no try was made', () => {
    const open = aLine({ 'home-replacement': 'on', 'hold-open-settled': 'on', 'family-ph': 'on' })
    fc.assert(
      fc.property(drawn, ({ answers, fact, other }) => {
        const right: Record<string, Answer> = { ...answers, [fact]: other }
        const corrected = aTalk(open).says().answersAll(answers)
        fc.pre(corrected.state.path.asked.includes(fact) && fact in corrected.state.answers)
        fc.pre(corrected.state.kernel.facts.attempt === undefined)
        const direct = aTalk(open).says().answersAll(right)
        fc.pre(direct.state.kernel.facts.attempt === undefined)
        expect(standing(corrected.corrects(fact, other).answersAll(right))).toEqual(standing(direct))
      }),
      { numRuns: 200, maxSkipsPerRun: 200 },
    )
  })

  it('takes back first what no longer holds, and says nothing again that still does', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, travel: takes(20) })
    const before = new Set(Object.keys(talk.state.inForce))
    expect(before).toContain('cover-opening')
    const said = talk.corrects('in-opening', 'same-tube').said()
    const stops = said.filter(id => id.startsWith('stop:'))
    expect(stops).toEqual(expect.arrayContaining(['stop:cover-opening', 'stop:nothing-into-opening']))
    expect(said.slice(0, stops.length)).toEqual(stops)
    expect(said).toContain('leave-in-place')
    for (const id of said) if (before.has(id)) expect.fail(`"${id}" was said a second time`)
  })

  it('tells whoever is being paged that something changed, once', () => {
    const talk = aTalk(line).says().answersAll(PLAIN).corrects('travel', takes(55))
    expect(talk.effects.filter(effect => effect.kind === 'page')).toMatchObject([{ to: 'amara', why: 'update' }])
  })

  it('after danger was seen never lowers the disposition, whatever is corrected', () => {
    fc.assert(
      fc.property(answersToAll, fc.constantFrom(...questions), fc.nat(12), (answers, fact, at) => {
        const talk = aTalk(line).says()
        for (let left = at; left > 0; left--) {
          const open = talk.asked()
          const answer = open === undefined ? undefined : answers[open]
          if (open !== undefined && answer !== undefined) talk.answers(open, answer)
        }
        talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'a fit' })
        talk.does({ kind: 'changeWanted', fact })
        if (talk.asked() === fact) talk.answers(fact, answers[fact] ?? 'unsure')
        expect(talk.state.disposition?.id).toBe('ambulance')
        expect(talk.state.kernel.talk).toMatch(/^shared\/emergency/)
        talk.does({ kind: 'wrongTapSaid' }).answersAll(answers)
        expect(talk.state.disposition?.id).toBe('ambulance')
        expect(talk.pages().length).toBeGreaterThan(0)
      }),
      { numRuns: 150 },
    )
  })

  it('changes nothing when it is about a question that was never answered', () => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing')
    const { state } = talk
    talk.does({ kind: 'changeWanted', fact: 'travel' })
    expect({ ...talk.state, seq: 0 }).toEqual({ ...state, seq: 0 })
    expect(talk.said()).toEqual(['ask:danger-signs'])
  })

  it('does not turn back the clock: time out counts from the corrected answer', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, 'out-since': minutesAgo(0), travel: takes(20) })
    expect(talk.state.kernel.closure).toBe('time-left')
    talk.corrects('out-since', minutesAgo(50, 70))
    expect(talk.state.kernel.closure).toBe('leave-now')
    expect(talk.said()).toContain('time-to-go')
    expect(talk.said()).toContain('stop:leave-by-time')
  })
})
