import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { drawMonth } from '../../src/cli/review-draw.ts'
import type { ReviewStore } from '../../src/review/review-store.ts'
import { openReviewFile } from '../../src/store/sqlite/review-file.ts'
import { instant } from '../../src/time/instant.ts'
import { NIGHT } from '../support/a-line.ts'
import { aScore, aSummary } from '../support/review-parts.ts'

describe('the file of reviews', () => {
  let folder: string
  let reviews: ReviewStore
  const acts: { did: string; after?: string }[] = []
  const drawing = () => ({
    ...{ reviews, now: NIGHT, by: 'ana' },
    random: { bytes: () => new Uint8Array(), hex: () => 'a1b2c3d4', int: () => 0 },
    trail: {
      async change(act: unknown) {
        acts.push(act as (typeof acts)[number])
        return 'done' as const
      },
    },
  })

  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-reviews-'))
    reviews = openReviewFile(join(folder, 'reviews.sqlite'))
    acts.length = 0
  })
  afterEach(() => {
    reviews.close()
    rmSync(folder, { recursive: true })
  })

  it('keeps summaries over a restart, the newer of a case, and up to which change they reach', () => {
    expect(reviews.summarisedTo()).toBeUndefined()
    reviews.keepSummaries([aSummary('a'), aSummary('b', { month: '2026-02' })], NIGHT)
    reviews.keepSummaries([aSummary('a', { isRedFlag: true })], instant(NIGHT - 5))
    reviews.close()
    reviews = openReviewFile(join(folder, 'reviews.sqlite'))
    expect(reviews.summary('a')?.isRedFlag).toBe(true)
    expect(reviews.summaries('2026-02').map(({ caseId }) => caseId)).toEqual(['b'])
    expect([reviews.summaries().length, reviews.summarisedTo()]).toEqual([2, NIGHT])
  })

  it('draws a month once, when it has ended, and writes the seed down first', async () => {
    reviews.keepSummaries([aSummary('a'), aSummary('b', { isUnanswered: true })])
    expect((await drawMonth('2026-03', undefined, '2026-03', drawing())).kind).toBe('running')
    expect((await drawMonth('2026-02', undefined, '2026-04', drawing())).kind).toBe('none')
    expect(acts).toEqual([])
    expect((await drawMonth('2026-03', undefined, '2026-04', drawing())).kind).toBe('done')
    expect(acts).toEqual([
      {
        ...{ at: NIGHT, who: 'ana', did: 'review-drawn', on: '2026-03' },
        after: 'seed a1b2c3d4: 2 of 2 at random, 2 in all',
      },
    ])
    expect((await drawMonth('2026-03', 'nicer', '2026-04', drawing())).kind).toBe('drawn')
    expect(reviews.draw('2026-03')).toMatchObject({ seed: 'a1b2c3d4', from: 2, by: 'ana' })
    expect(reviews.months()).toEqual([{ month: '2026-03', cases: 2, picked: 2 }])
  })

  it('draws what somebody flagged, also into a month that was drawn before, once', async () => {
    reviews.keepSummaries(Array.from({ length: 40 }, (_, index) => aSummary(`c${index}`)))
    await drawMonth('2026-03', 's', '2026-04', drawing())
    const drawn = reviews.queue('2026-03')
    const left = Array.from({ length: 40 }, (_, index) => `c${index}`).find(id => !reviews.isPicked(id)) ?? ''
    reviews.flag(left, NIGHT, 'lee')
    reviews.flag(left, NIGHT, 'ana')
    expect(reviews.queue('2026-03')).toEqual([...drawn, { caseId: left, reasons: ['flagged'], scores: [] }])
    // One that has not ended yet is drawn when it has.
    reviews.flag('late', NIGHT, 'lee')
    expect(reviews.isPicked('late')).toBe(false)
    reviews.keepSummaries([aSummary('late')])
    expect(reviews.isPicked('late')).toBe(true)
    reviews.flag('d1', NIGHT, 'lee')
    reviews.keepSummaries([aSummary('d1', { month: '2026-02' })])
    await drawMonth('2026-02', 's', '2026-04', drawing())
    expect(reviews.queue('2026-02')[0]?.reasons).toEqual(['flagged', 'random'])
  })

  it('takes one score a person, only of what was drawn, and none once two agree', async () => {
    reviews.keepSummaries([aSummary('c1'), aSummary('c2')])
    expect(reviews.addScore(aScore('ana'))).toBe('not-drawn')
    await drawMonth('2026-03', 's', '2026-04', drawing())
    expect(reviews.addScore(aScore('ana'))).toBe('kept')
    expect(reviews.addScore(aScore('ana', { safe: false }))).toBe('own')
    expect(reviews.addScore(aScore('ben'))).toBe('kept')
    expect(reviews.addScore(aScore('cho'))).toBe('done')
    expect(reviews.queue('2026-03').map(({ caseId, scores }) => [caseId, scores.length])).toEqual([
      ['c1', 2],
      ['c2', 0],
    ])
    expect([...reviews.scores('2026-03').keys()]).toEqual(['c1'])
  })

  it('never changes a score and takes none away, also for somebody with the file', async () => {
    reviews.keepSummaries([aSummary('c1')])
    await drawMonth('2026-03', 's', '2026-04', drawing())
    reviews.addScore(aScore('ana'))
    const db = new DatabaseSync(join(folder, 'reviews.sqlite'))
    expect(() => db.exec("UPDATE score SET reviewer = 'x'")).toThrow('never changed')
    expect(() => db.exec('DELETE FROM score')).toThrow('never taken away')
    db.close()
  })
})
