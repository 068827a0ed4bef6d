import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { renderReply } from '../../src/case/render.ts'
import { ASKED_REMEMBERED } from '../../src/case/talk.ts'
import type { Kernel } from '../../src/flow/kernel.ts'
import { privateStrings } from '../../src/oncall/family-numbers.ts'
import { fitPageText, pageSeptetsMost } from '../../src/pagers/page-text.ts'
import { septetsOf } from '../../src/sms/alphabet.ts'
import { aLine, demoClinic, shippedFlows } from '../support/a-line.ts'
import { AMARA, aTalk, type CaseTalk, isReply, minutesAgo, PLAIN, saidIn, takes } from '../support/case-talk.ts'
import { answersToAll } from './answers-drawn.ts'
import { anEvent, happens } from './events-drawn.ts'

const line = aLine()
const isAsk = (id: string) => id.startsWith('ask:')

describe('what is stored of a long conversation', () => {
  it('does not grow with the number of questions, and still knows the latest', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing' }).answersAll({ 'danger-signs': 'none' })
    const sizes = Array.from({ length: 120 }, (_, turn) => {
      talk.corrects('danger-signs', 'none')
      return turn >= 40 ? JSON.stringify({ ...talk.state, open: undefined }).length : 0
    }).filter(size => size > 0)
    // Serials and event numbers gain a digit.
    expect(Math.max(...sizes) - Math.min(...sizes)).toBeLessThan(100)
    const asked = talk.state.askedBySerial ?? {}
    expect(Object.keys(asked)).toHaveLength(ASKED_REMEMBERED)
    expect(asked[talk.state.serial]).toBe(talk.asked())
  })
})

describe('word that it is over', () => {
  const news = { kind: 'greeted', said: 'it stopped', news: true } as const
  it('closes nothing and lowers nothing: the case goes on as it was, and whoever was paged is told', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing' }, ['heavy-bleeding'])
    const before = talk.state
    talk.does(news)
    expect(talk.state.closed).toBe(before.closed)
    expect(talk.state.disposition).toEqual(before.disposition)
    expect(talk.said()).toContain('news-noted')
    expect(talk.pages().map(({ page }) => page.why)).toEqual(['page', 'update'])
  })

  it('said where nobody was paged goes on with the question, and promises no reader', () => {
    const talk = aTalk(line).says({})
    talk.does(news)
    expect(talk.said()).not.toContain('news-noted')
    expect(talk.said().some(isAsk)).toBe(true)
  })
})

describe('the first reply', () => {
  it.each([
    ['nothing is known', {}],
    ['the opening is said to be empty', { 'in-opening': 'nothing' }],
    ['a tube is said to be back in', { 'in-opening': 'same-tube' }],
  ])('says what to do, with the number to ring, before any question when %s', (_what, facts) => {
    const talk = aTalk(line).says(facts)
    const said = talk.said()
    expect(said.findIndex(isAsk)).toBe(said.length - 1)
    const acts = talk.parts().filter(part => part.kind === 'advice')
    expect(acts.length).toBeGreaterThanOrEqual(3)
    expect(acts.map(part => ('text' in part ? part.text : '')).join(' ')).toContain('911')
    expect(acts.flatMap(part => (part.kind === 'advice' ? part.tags : []))).not.toContain('puts-into-site')
  })

  it('never tells of an empty opening when a tube is in, nor of a tube when it is empty', () => {
    expect(aTalk(line).says({ 'in-opening': 'same-tube' }).said()).not.toContain('cover-opening')
    expect(aTalk(line).says({ 'in-opening': 'nothing' }).said()).not.toContain('leave-in-place')
  })

  it('begins with the emergency when danger was named, and gives the holding advice after it', () => {
    const talk = aTalk(line).says({}, ['breathing'])
    const said = talk.said()
    expect(said[0]).toBe('ring-emergency')
    expect(said).toContain('cover-if-empty')
    expect(talk.state.disposition?.id).toBe('ambulance')
    expect(talk.pages()).toMatchObject([{ page: { to: 'amara', urgency: 'ambulance', reason: 'danger' } }])
  })

  it('asks nothing that was said already', () => {
    const talk = aTalk(line).says({ 'in-opening': 'nothing', device: 'balloon-long' }).answers('danger-signs', ['none'])
    expect(talk.asked()).toBe('out-since')
    expect(talk.state.disposition?.id).toBe('set-out')
  })
})

describe('talk', () => {
  it('says hospital and pages right after the kind of tube, as shipped: nothing asked later can lower it', () => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing').answers('danger-signs', ['none'])
    expect(talk.state.disposition).toBeUndefined()
    talk.answers('device', 'balloon-long')
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.said()).toContain('will-go')
    expect(talk.effects.filter(effect => effect.kind === 'page')).toMatchObject([
      { to: 'amara', urgency: 'set-out', why: 'page' },
    ])
    fc.assert(
      fc.property(answersToAll, answers => {
        const any = aTalk(line)
          .says()
          .answersAll({ ...answers, 'in-opening': 'nothing', 'danger-signs': ['none'], device: 'no-balloon' })
        expect(['set-out', 'ambulance']).toContain(any.state.disposition?.id)
      }),
      { numRuns: 100 },
    )
  })

  it('asks one question at most in a reply, and last, whatever happens', () => {
    fc.assert(
      fc.property(answersToAll, fc.array(anEvent, { maxLength: 25 }), (answers, events) => {
        const talk = aTalk(line).says()
        for (const event of events) happens(talk, event, answers)
        for (const { reply } of talk.replies()) {
          const asks = saidIn(reply).map(isAsk)
          expect(asks.filter(Boolean).length).toBeLessThanOrEqual(1)
          if (asks.includes(true)) expect(asks.at(-1)).toBe(true)
        }
      }),
      { numRuns: 200 },
    )
  })

  it('takes no answer to a question that is not open, and says so', () => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing')
    const { state } = talk
    for (const [serial, fact] of [
      [1, 'in-opening'],
      [1, 'danger-signs'],
      [2, 'in-opening'],
      [3, 'danger-signs'],
    ] as const) {
      talk.does({ kind: 'answerGiven', serial, fact, answer: { kind: 'unsure' }, said: 'Not sure' })
      expect({ ...talk.state, seq: 0 }).toEqual({ ...state, seq: 0 })
      expect(talk.said()).toEqual(['answered-before', 'ask:danger-signs'])
    }
  })

  it('reads a typed time back and counts it only when it is confirmed', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ 'in-opening': 'nothing', 'danger-signs': ['none'], device: 'balloon-long' })
    const reading = { earliest: talk.now, latest: talk.now }
    const open = () => talk.state.open?.serial ?? -1
    const typed = () =>
      talk.does({
        kind: 'answerGiven',
        serial: open(),
        fact: 'out-since',
        answer: minutesAgo(20),
        said: '2 am',
        readBack: reading,
      })
    typed()
    expect(talk.said()).toEqual(['ask:out-since'])
    expect(talk.state.answers['out-since']).toBeUndefined()
    talk.does({ kind: 'readBackAnswered', serial: open(), right: false, said: 'Change it' })
    expect(talk.state.answers['out-since']).toBeUndefined()
    typed().does({ kind: 'readBackAnswered', serial: open(), right: true, said: 'Yes' })
    expect(talk.state.answers['out-since']?.answer).toEqual(minutesAgo(20))
    expect(talk.asked()).toBe('travel')
  })

  it('pages a person after three misreads in a row, keeping the question open', () => {
    const talk = aTalk(line).says()
    for (let i = 0; i < 3; i++) talk.does({ kind: 'notUnderstood', reason: 'not-an-option', said: '?' })
    expect(talk.pages()).toMatchObject([{ page: { reason: 'person' } }])
    expect(talk.said()).toContain('ring-clinic')
  })
})

describe('danger', () => {
  const reached = shippedFlows.flows.get('tube-out')
  it('is answered first, from wherever talk stands', () => {
    const seen = new Set<string>()
    fc.assert(
      fc.property(answersToAll, fc.nat(25), (answers, stop) => {
        const talk = aTalk(line).says()
        for (let left = stop; left > 0; left--) {
          const open = talk.asked()
          const answer = open === undefined ? undefined : answers[open]
          if (open !== undefined && answer !== undefined) talk.answers(open, answer)
        }
        seen.add(talk.state.kernel.talk)
        talk.does({ kind: 'dangerSaid', signs: ['colour'], said: 'her lips are blue' })
        expect(talk.said()[0]).toBe('ring-emergency')
        expect(talk.parts()[0]).toMatchObject({ kind: 'advice', tags: ['call-emergency'] })
        expect(talk.state.disposition?.id).toBe('ambulance')
        expect(talk.effects.some(effect => effect.kind === 'page' && effect.urgency === 'ambulance')).toBe(true)
      }),
      { numRuns: 250 },
    )
    expect(seen.size).toBeGreaterThan(15)
    expect([...seen].every(step => reached?.steps.has(step))).toBe(true)
  })

  it.each([
    'breathing',
    'colour',
    'drowsy',
    'fit',
    'heavy-bleeding',
    'green-or-blood-vomit',
    'hard-belly',
    'rash-no-fade',
  ])('is what a tap on "%s" means, at once', sign => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing').answers('danger-signs', [sign])
    expect(talk.said()[0]).toBe('ring-emergency')
    expect(talk.state.disposition?.id).toBe('ambulance')
  })

  it('not sure: pages at once, says the number, asks at most three single checks; one not well is an emergency', () => {
    const unsure = () => aTalk(line).says().answers('in-opening', 'nothing').answers('danger-signs', 'unsure')
    expect(unsure().said()).toEqual(['ring-if-unsure', 'paged', 'ask:wakes'])
    for (const answer of ['no', 'unsure']) {
      expect(unsure().answers('wakes', answer).state.disposition?.id).toBe('ambulance')
      expect(unsure().answers('wakes', 'yes').answers('breathes', answer).state.disposition?.id).toBe('ambulance')
      const last = unsure().answers('wakes', 'yes').answers('breathes', 'yes').answers('colour-ok', answer)
      expect(last.state.disposition?.id).toBe('ambulance')
    }
    const well = unsure().answersAll({ wakes: 'yes', breathes: 'yes', 'colour-ok': 'yes' })
    expect(well.asked()).toBe('device')
    expect(well.state.disposition?.id).toBe('speak')
  })

  it('a wrong tap asks the danger question again; the case and its page stay an ambulance', () => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing').answers('danger-signs', ['fit'])
    const paged = talk.pages().length
    talk.does({ kind: 'wrongTapSaid' })
    expect(talk.said()[0]).toBe('wrong-tap')
    expect(talk.asked()).toBe('danger-signs')
    expect(talk.state.disposition?.id).toBe('ambulance')
    expect(talk.state.kernel.callout).toBe('first')
    expect(talk.effects).toContainEqual(expect.objectContaining({ kind: 'page', why: 'update', urgency: 'ambulance' }))
    talk.answersAll(PLAIN)
    expect(talk.state.disposition?.id).toBe('ambulance')
    expect(talk.pages().length).toBeGreaterThan(paged)
    expect(talk.pageText(talk.pages()[0]?.page as never).join(' ')).toContain('Family says wrong tap.')
  })

  it('is lowered by a clinician alone', () => {
    const talk = aTalk(line)
      .says({}, ['fit'])
      .takes()
      .does({ kind: 'dispositionLowered', by: AMARA, to: 'set-out', reason: 'seen by video' })
    expect(talk.state.disposition?.id).toBe('set-out')
    expect(talk.said()).toContain('lowered')
  })
})

describe('a machine that never moves', () => {
  it('leaves the bot with nothing to say and nothing to ask', () => {
    const flows = new Map(
      [...shippedFlows.flows].map(([id, flow]) => {
        const kernel: Kernel = { ...flow.kernel, step: state => ({ state, effects: [] }) }
        return [id, { ...flow, kernel }]
      }),
    )
    const talk = aTalk(aLine({}, { flows: { ...shippedFlows, flows } })).says()
    expect(talk.replies()).toEqual([])
    expect(talk.asked()).toBeUndefined()
    talk.does({ kind: 'dangerSaid', signs: ['fit'], said: 'a fit' }).does({ kind: 'personWanted', said: 'help' })
    expect(talk.replies()).toEqual([])
    expect(talk.pages()).toEqual([])
  })

  it('stops a talk under way from going on', () => {
    const flow = shippedFlows.flows.get('tube-out')
    if (flow === undefined) throw new Error('no flow')
    let stuck = false
    const kernel: Kernel = {
      ...flow.kernel,
      step: (state, event) => (stuck ? { state, effects: [] } : flow.kernel.step(state, event)),
    }
    const talk = aTalk(aLine({}, { flows: { ...shippedFlows, flows: new Map([['tube-out', { ...flow, kernel }]]) } }))
    talk.says().answers('in-opening', 'nothing')
    stuck = true
    talk.answers('danger-signs', ['none'])
    expect(talk.asked()).toBeUndefined()
    expect(talk.effects.filter(isReply)).toEqual([])
  })
})

describe('what leaves the case', () => {
  const everything = (talk: CaseTalk): string =>
    talk.log
      .flatMap(({ effects, at }) =>
        effects.filter(isReply).flatMap(reply => renderReply(line, talk.state, reply, at, { repeated: false })),
      )
      .map(part => JSON.stringify(part))
      .join('\n')
  const secrets = privateStrings(demoClinic())

  it('holds no private number or address, nor the words and the number of the family, in any conversation', () => {
    expect(secrets.length).toBeGreaterThan(8)
    fc.assert(
      fc.property(answersToAll, fc.array(anEvent, { maxLength: 25 }), (answers, events) => {
        const talk = aTalk(line).says()
        for (const event of events) happens(talk, event, answers)
        const family = everything(talk)
        for (const secret of secrets) if (family.includes(secret)) expect.fail(`a family read "${secret}"`)
        for (const { page } of talk.pages()) {
          const text = fitPageText(talk.pageText(page), 'https://clinic.example/p/7KQ2M9XD')
          expect(septetsOf(text)).toBeLessThanOrEqual(pageSeptetsMost)
          expect(text.slice(0, 60)).toMatch(/AMBULANCE|GO TO HOSPITAL|WANTS CLINICIAN/)
          for (const word of ['Zebedee', 'as said', 'tube is out', '+12125550142', ...secrets])
            if (text.includes(word)) expect.fail(`a page says "${word}"`)
        }
      }),
      { numRuns: 150 },
    )
  })

  it('a page begins with what to get up for', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    const [first] = talk.pages()
    const text = fitPageText(talk.pageText(first?.page as never), 'https://clinic.example/p/7KQ2M9XD')
    expect(text.slice(0, 60)).toMatch(/^GO TO HOSPITAL, told 02:10\. /)
    expect(text).toContain('Out since 01:50-01:55.')
    expect(text).toContain('Case Sun 4719.')
    expect(aTalk(line).says({}, ['fit']).pages()[0]?.page.urgency).toBe('ambulance')
  })

  it('every reply that asks for an act carries a number to ring', () => {
    const numbers = ['911', '+1 212 555 0110', '+12125550110']
    fc.assert(
      fc.property(answersToAll, fc.array(anEvent, { maxLength: 12 }), (answers, events) => {
        const talk = aTalk(line).says()
        const check = () => {
          const parts = talk.parts()
          const acts = parts.filter(part => part.kind === 'advice')
          if (acts.length === 0) return
          const text = parts.map(part => ('text' in part ? part.text : '')).join('\n')
          if (!numbers.some(number => text.includes(number))) expect.fail(`no number in:\n${text}`)
        }
        check()
        for (const event of events) {
          happens(talk, event, answers)
          check()
        }
      }),
      { numRuns: 150 },
    )
  })

  it('the family may take any length to get there: a long way is told to the clinic', () => {
    const talk = aTalk(line)
      .says()
      .answersAll({ ...PLAIN, travel: takes(200) })
    expect(talk.pages().map(({ page }) => page.reason)).toContain('far-away')
  })
})
