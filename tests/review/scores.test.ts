import { createHash } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import { reviewTables } from '../../src/review/review-tables.ts'
import { minuteText, NOTE_CHARACTERS_MAX, readReviewerFile, reviewerFile } from '../../src/review/reviewer-file.ts'
import { rubricIn } from '../../src/review/rubric.ts'
import { samplingPlan } from '../../src/review/sampling.ts'
import { mayNotScore, reviewFigures, type Score, scoreFaults, scoresFor, standingOf } from '../../src/review/score.ts'
import { instant } from '../../src/time/instant.ts'
import { NIGHT } from '../support/a-line.ts'
import { aScore, aSummary, shippedRubric } from '../support/review-parts.ts'

const sha = (text: string) => createHash('sha256').update(text).digest('hex')

describe('the rubric', () => {
  it('has 15 to 20 items, each with a reason and a source', () => {
    expect(shippedRubric.items.length).toBeGreaterThanOrEqual(15)
    expect(shippedRubric.items.length).toBeLessThanOrEqual(20)
    for (const item of shippedRubric.items)
      expect([item.because, item.source].every(text => text.length > 10)).toBe(true)
    expect(new Set(shippedRubric.items.map(({ group }) => group)).size).toBe(4)
  })

  it('says what is wrong with one that a clinic wrote', () => {
    const [item] = shippedRubric.items
    const twice = { version: 1, items: Array.from({ length: 15 }, () => item) }
    expect(rubricIn(twice)).toEqual({ faults: ['the file: each id once'] })
    expect(rubricIn({ version: 1, items: [item] })).toMatchObject({ faults: [expect.stringContaining('items')] })
    expect(rubricIn('text')).toHaveProperty('faults')
  })
})

describe('the sampling plan', () => {
  const many = Array.from({ length: 400 }, (_, index) => aSummary(`case-${index}`))

  it('takes every danger sign, every page nobody answered, everything given up, each once', () => {
    const cases = [
      aSummary('a', { isRedFlag: true, isUnanswered: true }),
      aSummary('b', { abandonedAt: 'device' }),
      aSummary('c', { month: '2026-04' }),
      aSummary('d', { closed: false, isRedFlag: true }),
    ]
    const { picks, draw } = samplingPlan('2026-03', 'seed', cases, sha)
    expect(draw).toEqual({ month: '2026-03', seed: 'seed', from: 2, size: 2 })
    expect(picks).toEqual([
      { caseId: 'a', reasons: ['red-flag', 'unanswered', 'random'] },
      { caseId: 'b', reasons: ['abandoned', 'random'] },
    ])
  })

  it('draws a tenth at random and at least twenty, the same for the same seed in any order', () => {
    const { picks, draw } = samplingPlan('2026-03', 'spring', many, sha)
    expect([picks.length, draw.size]).toEqual([40, 40])
    const again = samplingPlan('2026-03', 'spring', [...many].reverse(), sha)
    expect(new Set(again.picks.map(({ caseId }) => caseId))).toEqual(new Set(picks.map(({ caseId }) => caseId)))
    const other = samplingPlan('2026-03', 'summer', many, sha)
    expect(other.picks.map(({ caseId }) => caseId)).not.toEqual(picks.map(({ caseId }) => caseId))
    expect(samplingPlan('2026-03', 's', many.slice(0, 50), sha).picks).toHaveLength(20)
  })

  it('can be drawn again by anybody with the seed: the smallest SHA-256 of seed and case', () => {
    const byHand = many
      .map(({ caseId }) => caseId)
      .sort((a, b) => (sha(`spring:${a}`) < sha(`spring:${b}`) ? -1 : 1))
      .slice(0, 40)
    const { picks } = samplingPlan('2026-03', 'spring', many, sha)
    expect(new Set(picks.map(({ caseId }) => caseId))).toEqual(new Set(byHand))
  })
})

describe('the table of agreement', () => {
  it('gives no interval where the formula has no spread: all agree, or one gave every case the same answer', () => {
    const pair = (caseId: string, second: Partial<Score>): [string, Score[]] => [
      caseId,
      [aScore('ana'), aScore('ben', second)],
    ]
    const scores = new Map(Array.from({ length: 12 }, (_, at) => pair(`c${at}`, { safe: at > 2 })))
    const rows =
      reviewTables(
        shippedRubric,
        reviewFigures(shippedRubric, scores, () => 'set-out'),
      ).at(-1)?.rows ?? []
    const none = { none: true }
    expect(rows[0]?.slice(0, 6)).toEqual(['safe or unsafe', 12, 75, 0, none, none])
    expect(rows[1]?.slice(1)).toEqual([12, 100, none, none, none, 1, none, none, 1, 1])
  })
})

describe('two reviewers and a third', () => {
  const unsafe = { safe: false } as const

  it('agree, differ, and are settled by a third', () => {
    expect(standingOf([])).toEqual({ kind: 'waits', scores: 0 })
    expect(standingOf([aScore('ana')])).toEqual({ kind: 'waits', scores: 1 })
    expect(standingOf([aScore('ana'), aScore('ben')])).toEqual({
      kind: 'agreed',
      verdict: { safe: true, should: 'set-out' },
    })
    const differ = [aScore('ana'), aScore('ben', { ...unsafe, should: 'ambulance' })]
    expect(standingOf(differ)).toEqual({ kind: 'conflict', about: ['safe', 'should'] })
    expect(standingOf([...differ, aScore('cho', unsafe)])).toEqual({
      kind: 'settled',
      verdict: { safe: false, should: 'set-out' },
    })
  })

  it('score a case once each, and no more once it is done', () => {
    const differ = [aScore('ana'), aScore('ben', unsafe)]
    expect(mayNotScore([aScore('ana')], 'ana')).toBe('own')
    expect(mayNotScore([aScore('ana')], 'ben')).toBeUndefined()
    expect(mayNotScore(differ, 'cho')).toBeUndefined()
    expect(mayNotScore(differ, 'ben')).toBe('own')
    expect(mayNotScore([aScore('ana'), aScore('ben')], 'cho')).toBe('done')
  })

  it('see nothing of each other before both are in, the third not even then', () => {
    const names = (scores: readonly Score[], who: string) => scoresFor(scores, who).map(({ reviewer }) => reviewer)
    expect(names([aScore('ana')], 'ben')).toEqual([])
    expect(names([aScore('ana')], 'ana')).toEqual(['ana'])
    const differ = [aScore('ana'), aScore('ben', unsafe)]
    expect(names(differ, 'ana')).toEqual(['ana', 'ben'])
    expect(names(differ, 'cho')).toEqual([])
    expect(names([...differ, aScore('cho')], 'dov')).toEqual(['ana', 'ben', 'cho'])
  })

  it('must answer every item, and only where it may not apply say so', () => {
    const { answers } = aScore('ana')
    expect(scoreFaults(shippedRubric, answers)).toEqual([])
    const { 'holding-first': _one, ...rest } = answers
    expect(scoreFaults(shippedRubric, rest)).toEqual(['holding-first is not answered'])
    expect(scoreFaults(shippedRubric, { ...answers, 'holding-first': 'not-applicable' })).toEqual([
      'holding-first applies to every case: yes or no was expected',
    ])
    expect(scoreFaults(shippedRubric, { ...answers, 'holding-first': 'maybe', strange: 'yes' })).toHaveLength(2)
  })
})

describe('what the reviews say together', () => {
  it('is agreement of the first two, and triage against the verdicts', () => {
    const scores = new Map([
      ['a', [aScore('ana', { caseId: 'a' }), aScore('ben', { caseId: 'a' })]],
      [
        'b',
        [
          aScore('ana', { caseId: 'b', safe: false }),
          aScore('ben', { caseId: 'b' }),
          aScore('cho', { caseId: 'b', safe: false, should: 'ambulance' }),
        ],
      ],
      ['c', [aScore('ana', { caseId: 'c' })]],
    ])
    const figures = reviewFigures(shippedRubric, scores, () => 'set-out')
    expect(figures).toMatchObject({ scored: 3, conflicts: 1, unsafe: 1, verdicts: 2 })
    expect(figures.safety).toMatchObject({ cases: 2, raw: 0.5 })
    expect(figures.triage.under).toMatchObject({ count: 1, of: 2 })
    expect(figures.items).toHaveLength(shippedRubric.items.length)
    expect(figures.items[0]).toMatchObject({ id: 'holding-first', cases: 2, raw: 1, apart: 0 })
  })
})

describe('reviewer files', () => {
  const record = {
    rubric: shippedRubric,
    scoresOf: (caseId: string) => (['c1', 'c2'].includes(caseId) ? [] : undefined),
    isReviewer: (id: string) => ['ana', 'ben', 'cho'].includes(id),
    now: instant(NIGHT + 7 * 86_400_000),
  }
  const text = (...scores: Score[]) => reviewerFile(shippedRubric, scores)

  it('are read back as they were written, to the minute', () => {
    const scores = [aScore('ana', { note: 'Asked late, "twice"' }), aScore('ben', { safe: false, should: 'ambulance' })]
    expect(readReviewerFile(text(...scores), record)).toEqual({ scores, faults: [] })
    expect(minuteText(NIGHT)).toBe('2026-03-01T07:10Z')
  })

  /** Bad input B45: missing scores, out of range, two by one person, free text with identifiers. */
  it('are reported line by line, and read on', () => {
    const good = aScore('ana')
    const bad: readonly (readonly [change: Partial<Score> & { answers?: Score['answers'] }, says: string])[] = [
      [{ caseId: 'c9' }, 'not drawn for review'],
      [{ reviewer: 'zoe' }, 'nobody who reviews'],
      [{ reviewer: 'ana' }, 'has scored this case already'],
      [{ reviewer: 'ben', answers: { ...good.answers, 'plain-words': '' as 'yes' } }, 'plain-words is not answered'],
      [{ reviewer: 'ben', answers: { ...good.answers, 'plain-words': '7' as 'yes' } }, 'plain-words says "7"'],
      [{ reviewer: 'ben', should: 'panic' as 'speak' }, 'should: one of'],
      [{ reviewer: 'ben', at: instant(NIGHT + 30 * 86_400_000) }, 'lies in the future'],
      [{ reviewer: 'ben', rubric: 99 }, 'version 99'],
      [{ reviewer: 'ben', note: 'ring +1 212 555 0142' }, 'a long number'],
      [{ reviewer: 'ben', note: 'write to a@b.example' }, 'an address'],
      [{ reviewer: 'ben', note: 'x'.repeat(NOTE_CHARACTERS_MAX + 1) }, 'longer than'],
    ]
    const { scores, faults } = readReviewerFile(
      text(good, ...bad.map(([change]) => ({ ...good, ...change })), aScore('ben')),
      record,
    )
    expect(scores.map(({ reviewer }) => reviewer)).toEqual(['ana', 'ben'])
    expect(faults.map(({ line }) => line)).toEqual(bad.map((_, index) => index + 3))
    for (const [index, [, says]] of bad.entries()) expect(faults[index]?.found).toContain(says)
  })

  it('refuse a third score where two agree, in one file or over two', () => {
    const { faults } = readReviewerFile(text(aScore('ana'), aScore('ben'), aScore('cho')), record)
    expect(faults).toEqual([{ line: 4, found: 'case: two agree, or a third has decided; no more scores are taken' }])
    const later = readReviewerFile(text(aScore('cho')), { ...record, scoresOf: () => [aScore('ana'), aScore('ben')] })
    expect(later.scores).toEqual([])
  })

  it('take nothing from a file with another head, a broken quote, or another encoding', () => {
    expect(readReviewerFile('case,safe\r\n', record).faults[0]?.found).toContain('the head was expected')
    expect(readReviewerFile(text(aScore('ana')).replace('yes', '"yes'), record).scores).toEqual([])
    for (const text of ['c\uFFFDse', 'c\0a\0s\0e\0'])
      expect(readReviewerFile(text, record).faults).toMatchObject([
        { line: 1, found: expect.stringContaining('not UTF-8') },
      ])
    const whole = reviewerFile(shippedRubric, [aScore('ana')])
    for (const [changed, says] of [
      ['', 'the file is empty'],
      [whole.replaceAll(',', ';'), 'columns are parted by semicolons: save them parted by commas'],
      [whole.replaceAll(',', '\t'), 'columns are parted by tabs'],
      [whole.replace('reviewer,', 'nurse,'), 'column 2 is "nurse", and "reviewer" was expected'],
      [whole.replace(',note', ''), 'column 27, "note", is missing'],
      [whole.replace(',note', ',note,more'), 'there are 28 columns, and 27 were expected'],
    ] as const)
      expect(readReviewerFile(changed, record).faults).toMatchObject([
        { line: 1, found: expect.stringContaining(says) },
      ])
    expect(readReviewerFile('', record).faults).toHaveLength(1)
    const lacking = text(aScore('ana')).replace(/,yes,yes\b/, ',yes')
    expect(readReviewerFile(lacking, record).faults[0]?.found).toContain('fields stand there')
  })
})
