import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { shippedFlows } from '../support/a-line.ts'
import { aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { anAnswerTo, answersToAll, FOLLOW_UPS } from './answers-drawn.ts'

const concerns = [...shippedFlows.flows.keys()]

/** A question is open that a family in trouble is expected to answer: no emergency, nobody driving. */
function isAwaited(talk: CaseTalk): boolean {
  const { talk: at } = talk.state.kernel
  const step = talk.state.open === undefined ? undefined : shippedFlows.flows.get(talk.state.concern)?.steps.get(at)
  return step?.ask !== undefined && step.quiet !== true && !at.startsWith('shared/emergency')
}

const lostContacts = (talk: CaseTalk) => talk.pages().filter(({ page }) => page.reason === 'lost-contact')

describe('a family that falls silent', () => {
  it('after answering late, with the opening overdue, is told to the clinic within twenty minutes', () => {
    const talk = aTalk().says({ 'in-opening': 'nothing' })
    const { 'fasting-risk': fasting, ...before } = PLAIN
    talk.answersAll(before)
    expect(talk.asked()).toBe('fasting-risk')
    talk.waits(6 * 60)
    talk.answers('fasting-risk', fasting ?? 'unsure')
    expect(talk.asked()).toBe('have-you-left')
    const silentSince = talk.now
    talk.waits(21)
    const [page] = lostContacts(talk).filter(({ at }) => at > silentSince)
    expect(page).toBeDefined()
    expect((page?.at ?? Number.POSITIVE_INFINITY) - silentSince).toBeLessThanOrEqual(20 * 60_000)
  })

  const anAct = fc.oneof(
    { weight: 6, arbitrary: fc.constant({ kind: 'answer' } as const) },
    { weight: 2, arbitrary: fc.record({ kind: fc.constant('correct' as const), pick: fc.nat(20), seed: fc.nat() }) },
    {
      weight: 2,
      arbitrary: fc.record({ kind: fc.constant('wait' as const), minutes: fc.integer({ min: 1, max: 240 }) }),
    },
    { weight: 1, arbitrary: fc.constantFrom({ kind: 'left' } as const, { kind: 'stuck' } as const) },
  )

  it('after answers, late ones and changed ones, at whatever question, is told to the clinic', () => {
    let looked = 0
    fc.assert(
      fc.property(
        fc.constantFrom(...concerns),
        answersToAll,
        fc.array(anAct, { minLength: 1, maxLength: 25 }),
        (concern, answers, acts) => {
          const talk = aTalk(undefined, concern).says()
          for (const act of acts) {
            if (act.kind === 'answer' && talk.state.open !== undefined) {
              const { fact } = talk.state.open
              talk.answers(fact, answers[fact] ?? { kind: 'choice', value: 'yes' })
            } else if (act.kind === 'wait') talk.waits(act.minutes)
            else if (act.kind === 'left') talk.does({ kind: 'leftSaid', said: 'we are on our way' })
            else if (act.kind === 'stuck') talk.does({ kind: 'travelRefused', said: 'we have no car' })
            else if (act.kind === 'correct') {
              const known = Object.keys(talk.state.answers).filter(fact => !FOLLOW_UPS.includes(fact))
              const fact = known[act.pick % Math.max(1, known.length)]
              if (fact === undefined) continue
              talk.does({ kind: 'changeWanted', fact })
              const [other] = fc.sample(anAnswerTo(fact), { seed: act.seed, numRuns: 1 })
              if (talk.state.open?.fact === fact && other !== undefined) talk.answers(fact, other)
            }
          }
          if (acts.at(-1)?.kind === 'wait' || !isAwaited(talk)) return
          looked++
          const before = lostContacts(talk).length
          const stood = talk.state.kernel.talk
          // Somebody who drives is asked nothing until the expected arrival, so it may take a night.
          for (let round = 0; round < 40 && lostContacts(talk).length === before; round++) talk.waits(21)
          // Written after talk had ended: the page that went out for it goes on.
          const isOver = shippedFlows.flows.get(concern)?.steps.get(talk.state.kernel.talk)?.end === true
          if (isOver && talk.pages().length > 0) return
          expect(lostContacts(talk).length, `${concern} at ${stood} after ${JSON.stringify(acts)}`).toBeGreaterThan(
            before,
          )
        },
      ),
      { seed: 20261130, numRuns: 400 },
    )
    expect(looked).toBeGreaterThan(100)
  })
})
