import { createHash } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import type { CaseRecord } from '../../src/review/case-record.ts'
import { RecordDiffers, summaryOf } from '../../src/review/case-summary.ts'
import { chanceOf, drawnYear } from '../../src/review/drawn-year.ts'
import { cellText } from '../../src/review/figure-table.ts'
import { figuresOf } from '../../src/review/figures.ts'
import { samplingPlan } from '../../src/review/sampling.ts'
import { hours, instant, minutes } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { AMARA, aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { aSummary } from '../support/review-parts.ts'

const sha = (text: string) => createHash('sha256').update(text).digest('hex')
const line = aLine()
const names = { concern: (id: string) => id, fact: (id: string) => id, outcome: (id: string) => id }

/** A conversation as it would be on record. */
const recordOf = ({ log, state }: CaseTalk): CaseRecord => ({
  ...{ caseId: 'case-1', family: 'family-1', channel: 'web', concern: 'tube-out', openedAt: NIGHT },
  ...{ serialAfter: 0, closed: state.closed, steps: log },
})
const summary = (talk: CaseTalk) => summaryOf(() => line, recordOf(talk))

describe('what is known of a case', () => {
  it('is how long each thing took, from the first message and from the first page', () => {
    const talk = aTalk(line).says()
    talk.waits(1).answersAll(PLAIN)
    talk.waits(2).takes({ kind: 'ringing-by', by: instant(talk.now + minutes(10)) })
    talk.waits(13).does({ kind: 'callMade', by: AMARA })
    const { waits, rungs, decided, isUnanswered, hour, month } = summary(talk)
    expect(waits.holding).toEqual({ ms: 0 })
    expect(waits.decision.ms).toBe(minutes(1))
    expect(waits.page?.ms).toBe(minutes(1))
    expect(waits.acknowledged).toEqual({ ms: minutes(2) })
    expect(waits.contact).toEqual({ ms: minutes(15) })
    // Promised within ten minutes of the answer, called after thirteen.
    expect(waits.promise).toEqual({ ms: minutes(3) })
    expect({ rungs, decided, isUnanswered }).toEqual({ rungs: [true], decided: 'set-out', isUnanswered: false })
    // 02:10 in New York.
    expect([month, hour]).toEqual(['2026-03', 2])
  })

  it('tells a ladder that ran out from one that was answered, by rung', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    talk.waits(60)
    const { isUnanswered, rungs, waits } = summary(talk)
    expect(isUnanswered).toBe(true)
    expect(rungs.length).toBeGreaterThan(1)
    expect(rungs).not.toContain(true)
    expect(waits.acknowledged).toMatchObject({ open: true })
    const later = aTalk(line).says().answersAll(PLAIN).waits(6).takes()
    expect(summary(later).rungs.at(-1)).toBe(true)
    expect(summary(later).isUnanswered).toBe(false)
  })

  it('says at which question a family fell silent, and not of one that wrote again', () => {
    const gone = aTalk(line).says().answers('in-opening', 'nothing').answers('danger-signs', ['none'])
    expect(summary(gone).abandonedAt).toBeUndefined()
    const asked = gone.asked()
    gone.waits(60)
    const { abandonedAt, abandonedLate } = summary(gone)
    expect(line.flows.flows.get('tube-out')?.steps.get(abandonedAt ?? '')?.ask).toBe(asked)
    expect(abandonedLate).toBeUndefined()
    gone.answers(gone.asked() ?? '', 'unsure')
    expect(summary(gone).abandonedAt).toBeUndefined()
  })

  it('tells of a case that was handed to people as far as its flow led it, and what they made of it', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    const before = summary(talk)
    const handed = recordOf(talk)
    const at = (after: number) => instant(talk.now + minutes(after))
    const page = {
      kind: 'page',
      to: 'amara',
      why: 'page',
      reason: 'parked',
      urgency: 'set-out',
      number: 1,
      of: 1,
    } as const
    const fallback = { kind: 'reply', parts: [{ kind: 'say', id: 'fallback' }], audible: true } as const
    const steps = [
      { at: at(1), event: { kind: 'greeted' } as const, effects: [fallback, page] },
      {
        at: at(3),
        event: { kind: 'outcomeSet', by: AMARA, outcome: 'admitted', doNotWrite: false } as const,
        effects: [{ kind: 'closeCase' } as const],
      },
    ]
    const record = { ...handed, closed: true, steps: [...handed.steps, ...steps] }
    expect(summaryOf(() => line, record)).toMatchObject({
      ...{ isHanded: true, outcome: 'admitted', decided: before.decided, pages: before.pages + 1, isUnanswered: true },
    })
    expect(() =>
      summaryOf(() => line, {
        ...record,
        steps: [...handed.steps, { ...steps[0], effects: [fallback, { ...page, reason: 'x' }] }] as never,
      }),
    ).toThrow(RecordDiffers)
    const { picks } = samplingPlan(before.month, 's', [summaryOf(() => line, record)], sha)
    expect(picks[0]?.reasons).toContain('handed')
  })

  it('counts "not sure", words put again, late alarms and danger', () => {
    const talk = aTalk(line).says()
    talk.does({ kind: 'notUnderstood', reason: 'not-an-option', said: 'eh' }).answers('in-opening', 'unsure')
    const { notSure, askedAgain, isRedFlag } = summary(talk)
    expect([notSure, askedAgain, isRedFlag]).toEqual([['in-opening'], ['in-opening'], false])
    const late = aTalk(line).says().answersAll(PLAIN)
    const [name, due] = [...late.alarms].sort((a, b) => a[1] - b[1])[0] ?? []
    late.now = instant((due ?? 0) + hours(1))
    late.alarms.delete(name ?? '')
    late.does({ kind: 'alarmDue', name: name ?? '', due: instant(due ?? 0) })
    expect(summary(late)).toMatchObject({ alarms: 1, alarmsLate: 1 })
    expect(summary(aTalk(line).says({}, ['drowsy']))).toMatchObject({ isRedFlag: true, decided: 'ambulance' })
  })
})

describe('figures', () => {
  const cases = Array.from({ length: 60 }, (_, index) =>
    aSummary(`c${index}`, {
      concern: index % 3 === 0 ? 'clogged' : 'tube-out',
      hour: index % 2 === 0 ? 2 : 21,
      day: `2026-03-${String(1 + (index % 28)).padStart(2, '0')}`,
      isRedFlag: index < 12,
      isUnanswered: index < 3,
      notSure: index < 20 ? ['device'] : [],
      asked: ['device', 'travel'],
      language: index < 6 ? 'es' : 'en',
    }),
  )
  const table = (id: string) => figuresOf(cases, names).find(one => one.id === id)
  const shown = (id: string) => table(id)?.rows.map(row => row.map(cellText)) ?? []

  it('give shares with Wilson’s interval and hide what is small, and what would give it away', () => {
    // 12 of 60: 0.118 to 0.318 by Wilson's formula.
    expect(shown('overview')[1]).toEqual(['with a danger sign', 12, 60, 20, 11.8, 31.8])
    expect(shown('overview')[4]).toEqual([
      'of those, nobody answered in the ladder’s time',
      'not shown',
      60,
      'not shown',
      'not shown',
      'not shown',
    ])
    expect(JSON.stringify(table('overview'))).not.toContain('"hidden":false')
  })

  it('begin with how it ended for the child, and say of how many nothing was written', () => {
    const ended = cases.map((one, index) => (index < 12 ? { ...one, outcome: 'admitted' } : one))
    const [first] = figuresOf(ended, names)
    expect(first?.rows.map(row => row.map(cellText))).toEqual([
      // 48 of 60: 0.682 to 0.882 by Wilson's formula.
      ['nothing written', 48, 60, 80, 68.2, 88.2],
      ['admitted', 12, 60, 20, 11.8, 31.8],
    ])
  })

  it('tell nowhere how many were paged where nearly all were, and so how few were not', () => {
    const few = cases.map((one, index) => {
      const { holding, decision } = one.waits
      return index < 3 ? { ...one, waits: { holding, decision }, rungs: [] } : one
    })
    for (const { rows } of figuresOf(few, names)) expect(rows.flat()).not.toContain(57)
  })

  it('count by hour and concern with totals, by question, by language', () => {
    expect(shown('hours').find(([hour]) => hour === '02–03')).toEqual(['02–03', 30, 10, 20])
    expect(shown('hours').at(-1)).toEqual(['all', 60, 20, 40])
    expect(shown('not-sure')).toEqual([['device', 20, 60, 33.3, 22.7, 45.9]])
    expect(shown('languages').map(([name, count]) => [name, count])).toEqual([
      ['English', 54],
      ['Spanish', 6],
    ])
  })

  it('say by week of how many, shares in per cent, and no limit below none', () => {
    const weekly = cases.map((one, index) => ({
      ...one,
      isUnanswered: one.day < '2026-03-08' && index < 28,
      pages: index % 9 === 0 ? 30 : 0,
    }))
    const weeks = (id: string) => figuresOf(weekly, names).find(one => one.id === id)
    expect(weeks('weeks-unanswered')?.head.slice(0, 3)).toEqual(['week from', 'of', 'share %'])
    // 7 of the 18 cases of the first week, of 60 in all: 11.7 %, and three standard errors of 18 cases above it 34.4 %.
    expect(weeks('weeks-unanswered')?.rows[0]).toEqual(['2026-03-01', 18, 38.9, 11.7, 0, 34.4, 'yes'])
    const lows = ['weeks-pages', 'weeks-answer', 'weeks-cases'].flatMap(id => weeks(id)?.rows.map(row => row[3]) ?? [])
    expect(lows.length).toBeGreaterThan(8)
    expect(lows.filter(low => !(typeof low === 'number' && low >= 0))).toEqual([])
    const few = weekly.map((one, index) =>
      index === 0 ? { ...one, waits: { holding: one.waits.holding, decision: one.waits.decision } } : one,
    )
    expect(figuresOf(few, names).find(one => one.id === 'weeks-unanswered')?.rows[0]?.[1]).toEqual({ hidden: true })
  })

  it('name decisions, ways of writing and flows in words', () => {
    const text = JSON.stringify(
      figuresOf(
        cases.map(one => ({ ...one, abandonedAt: 'device', steps: ['device'] })),
        { ...names, concern: id => `in words: ${id}` },
      ),
    )
    for (const words of ['hospital now', 'web chat', 'in words: tube-out: device']) expect(text).toContain(words)
    for (const code of ['"set-out"', '"web"', '"tube-out/device"']) expect(text).not.toContain(code)
  })

  it('say half and nine tenths by Kaplan–Meier, open cases counted', () => {
    const open = cases.map((one, index) =>
      index < 40 ? { ...one, waits: { ...one.waits, contact: { ms: minutes(20), open: true as const } } } : one,
    )
    const rows = figuresOf(open, names).find(({ id }) => id === 'waits')?.rows ?? []
    const contact = rows.find(([name]) => String(name).includes('contact with'))?.map(cellText)
    // 20 of 60 within nine minutes: neither half nor nine tenths are known.
    expect(contact?.slice(1)).toEqual([60, 40, '–', '–', 9])
  })

  it('count families that write again within seven days, and no later', () => {
    const again = (days: number) => [
      ...cases,
      ...Array.from({ length: 5 }, (_, index) =>
        aSummary(`again-${index}`, { family: `family-of-c${index}`, openedAt: instant(NIGHT + days * 86_400_000) }),
      ),
    ]
    const row = (days: number) =>
      figuresOf(again(days), names)
        .find(({ id }) => id === 'overview')
        ?.rows[7]?.map(cellText)
    expect(row(7)?.slice(0, 3)).toEqual(['written again within 7 days', 5, 65])
    expect(row(8)?.[1]).toBe(0)
  })

  it('say nothing at all of four cases, and of none', () => {
    const few = figuresOf(cases.slice(0, 4), names).flatMap(({ rows }) => rows.flat())
    expect(few.filter(cell => typeof cell === 'number' && cell > 0)).toEqual([])
    expect(() => figuresOf([], names)).not.toThrow()
  })
})

describe('an invented year', () => {
  const year = (seed: string) => [...drawnYear(line, { seed, year: 2025, cases: 12, hash: sha })]

  it('is the same for the same seed and another for another', () => {
    expect(JSON.stringify(year('a'))).toBe(JSON.stringify(year('a')))
    expect(JSON.stringify(year('a'))).not.toBe(JSON.stringify(year('b')))
  })

  it('is played by the real step: going through it anew gives the same decisions', () => {
    for (const recorded of year('a')) {
      expect(recorded.steps.length).toBeGreaterThan(3)
      expect(summaryOf(() => line, recorded).waits.holding.ms).toBe(0)
    }
  })

  it('has chance without a lean', () => {
    const chance = chanceOf(sha('lean'))
    const drawn = Array.from({ length: 4000 }, chance)
    // The mean of 4,000 lies within 0.5 ± 4 standard errors of 0.00456.
    expect(Math.abs(drawn.reduce((sum, one) => sum + one, 0) / 4000 - 0.5)).toBeLessThan(0.0183)
    expect(Math.min(...drawn)).toBeGreaterThanOrEqual(0)
    expect(Math.max(...drawn)).toBeLessThan(1)
  })
})
