import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { reviewIndex } from '../../src/cli/review-index.ts'
import { reviewSide } from '../../src/cli/review-side.ts'
import type { ReviewsPorts } from '../../src/http/console/reviews-routes.ts'
import { wordsIn } from '../../src/review/masked-words.ts'
import type { ReviewStore } from '../../src/review/review-store.ts'
import { openReviewFile } from '../../src/store/sqlite/review-file.ts'
import type { StoredCase } from '../../src/store/store.ts'
import { instant } from '../../src/time/instant.ts'
import { aLine } from '../support/a-line.ts'
import { AMARA, aTalk, type CaseTalk, PLAIN, phone } from '../support/case-talk.ts'
import { someone } from '../support/console-people.ts'
import { shippedRubric } from '../support/review-parts.ts'
import { screenWording } from '../support/screen-words.ts'

const line = aLine()
const NEXT_MONTH = instant(Date.parse('2026-04-02T12:00:00Z'))
const CASE = 'a'.repeat(32)
const reviewer = (personId: string) => ({ ...someone(['reviewer']), personId })

/** A night with a name, an address and a number in the family's words; its end is an admission. */
function closedTalk(): CaseTalk {
  const talk = aTalk(line)
    .says()
    .answersAll({ ...PLAIN, 'ring-back': phone })
  talk.does({ kind: 'personWanted', said: 'his tube is out, ring Zuzana at 212 555 0142 please' })
  talk.waits(1).takes({ kind: 'ringing-now' }).does({ kind: 'callMade', by: AMARA })
  talk.does({ kind: 'clinicianWrote', by: AMARA, text: 'Zuzana, please come in now' })
  talk.does({ kind: 'outcomeSet', by: AMARA, outcome: 'admitted', note: 'Zuzana was admitted', doNotWrite: true })
  return talk
}

describe('reviewing on the running bot', () => {
  let folder: string
  let reviews: ReviewStore
  let side: ReviewsPorts
  let acts: { did: string; on: string; who: string }[]
  let stored: Map<string, { talk: CaseTalk; closed: boolean }>

  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-review-side-'))
    reviews = openReviewFile(join(folder, 'reviews.sqlite'))
    acts = []
    stored = new Map([[CASE, { talk: closedTalk(), closed: true }]])
    const head = (caseId: string): StoredCase | undefined => {
      const one = stored.get(caseId)
      if (one === undefined) return undefined
      const { chat, seq } = one.talk.state
      return { caseId, chat, seq, closed: one.closed, changedAt: one.talk.now, state: JSON.stringify(one.talk.state) }
    }
    const store = {
      load: async (caseId: string) => head(caseId),
      recentHeads: async () => [...stored.keys()].flatMap(caseId => head(caseId) ?? []),
      async *heads() {
        yield* await store.recentHeads()
      },
      history: async (caseId: string) =>
        (stored.get(caseId)?.talk.log ?? []).map(({ event, effects, at }, index) => ({
          ...{ caseId, seq: index + 1, at, event: JSON.stringify(event), effects: JSON.stringify(effects) },
        })),
    }
    side = reviewSide({
      ...{ reviews, rubric: () => shippedRubric, line: () => line, now: () => NEXT_MONTH, wording: screenWording },
      index: reviewIndex({ reviews, store, lineOf: () => line, key: Buffer.from('key') }),
      figures: { ready: () => undefined, settled: async () => {} },
      trail: () => ({
        async change(act) {
          acts.push([act].flat()[0] as (typeof acts)[number])
          return 'done'
        },
      }),
      random: { bytes: () => new Uint8Array(), hex: () => 'seed-1', int: () => 0 },
      known: () => wordsIn(['his tube is out please ring come in now at']),
    })
  })
  afterEach(() => {
    reviews.close()
    rmSync(folder, { recursive: true })
  })

  const draw = () => side.draw(reviewer('linh'), '2026-03')
  const filled = (safe: string, should = 'set-out') =>
    new Map([
      ...shippedRubric.items.map(({ id }): [string, string[]] => [`item.${id}`, ['yes']]),
      ['safe', [safe]] as [string, string[]],
      ['should', [should]] as [string, string[]],
    ])

  it('draws from what has closed, with the seed in the audit trail', async () => {
    expect(await draw()).toEqual({ isDone: true, says: 'Drawn.' })
    expect(acts).toMatchObject([{ did: 'review-drawn', on: '2026-03', who: 'linh' }])
    const view = await side.queue(reviewer('linh'), '2026-03')
    expect(view.drawn).toContain('seed-1')
    expect(view.rows).toMatchObject([{ caseId: CASE, standing: 'Two reviewers are waited for.' }])
    expect((await draw()).isDone).toBe(false)
    expect((await side.draw(reviewer('linh'), '2026-04')).says).toContain('has not ended')
  })

  it('shows a case word for word without a name, a number, or its end', async () => {
    await draw()
    const view = await side.reviewed(reviewer('linh'), CASE, undefined)
    const text = JSON.stringify(view?.moments)
    for (const secret of ['Zuzana', '555 0142', '0142', 'Amara', 'amara', 'linh', 'Sun 4719', 'admitted', 'family-1'])
      expect(text, secret).not.toContain(secret)
    expect(text).toContain('his tube is out, ring ▢ at ▢ please')
    expect(text).toContain('Cover the opening')
    // Each question with its buttons, in the words the family read.
    expect(view?.moments.flatMap(({ decided }) => decided)).toContainEqual(
      expect.stringMatching(/^\? .* \[.+\] \[Not sure\]$/),
    )
    expect(view?.moments[0]?.clock).toBe('2:10 am')
    expect(view?.moments[0]?.since).toBe('after 0\u00A0min 0\u00A0s')
    // What happened stands in words, never by the names that the program has for it.
    expect(text).toContain('ALARM at ')
    expect(text).toContain('FAMILY: Danger signs: ')
    for (const code of [
      'danger-signs',
      'silent-ask',
      'callMade',
      'clinicianWrote',
      'personWanted',
      'advice-given',
      'ringing-now',
    ])
      expect(text).not.toContain(code)
    const first = await side.reviewed(reviewer('linh'), CASE, 1)
    expect([first?.moments.length, first?.of]).toEqual([1, view?.of])
    expect(await side.sheet(CASE, 1, 3)).toContain('<svg')
  })

  it('keeps two reviewers apart until both are in, and asks a third where they differ', async () => {
    await draw()
    expect((await side.score(reviewer('linh'), CASE, filled('safe'))).isDone).toBe(true)
    expect((await side.score(reviewer('linh'), CASE, filled('unsafe'))).isDone).toBe(false)
    expect((await side.reviewed(reviewer('ingrid'), CASE, undefined))?.scores).toEqual([])
    expect((await side.score(reviewer('ingrid'), CASE, filled('unsafe', 'ambulance'))).isDone).toBe(true)
    const third = await side.reviewed(reviewer('yusuf'), CASE, undefined)
    expect([third?.scores, third?.notNow]).toEqual([[], undefined])
    expect((await side.queue(reviewer('yusuf'), '2026-03')).rows[0]?.standing).toBe(
      'Two differ. A third is waited for.',
    )
    await side.score(reviewer('yusuf'), CASE, filled('safe'))
    const done = await side.reviewed(reviewer('linh'), CASE, undefined)
    expect(done?.scores).toHaveLength(3)
    expect(JSON.stringify(done?.scores)).not.toMatch(/linh|ingrid|yusuf/)
    expect(acts.map(({ did }) => did)).toEqual(['review-drawn', ...Array(3).fill('review-scored')])
    const [reviewed] = await side.report('2026-03')
    expect(reviewed?.rows).toContainEqual(['two differed', 1])
  })

  it('writes down what is to be done once all scores are in, heads the report with it, and ends it with a change or a reason', async () => {
    await draw()
    const action = (owner: string, due = '2026-04-30') =>
      new Map([
        ['says', ['Ask about the device before the way']],
        ['owner', [owner]],
        ['due', [due]],
      ])
    const [owner = ''] = line.clinic.people.map(({ id }) => id)
    await side.score(reviewer('linh'), CASE, filled('unsafe'))
    expect((await side.reviewed(reviewer('linh'), CASE, undefined))?.mayAct).toBeUndefined()
    expect((await side.addAction(reviewer('linh'), CASE, action(owner))).isDone).toBe(false)
    await side.score(reviewer('ingrid'), CASE, filled('unsafe'))
    expect((await side.reviewed(reviewer('linh'), CASE, undefined))?.mayAct?.today).toBe('2026-04-02')
    expect((await side.addAction(reviewer('linh'), CASE, action('nobody'))).says).toContain('Choose who')
    for (const due of ['2026-04-01', '2026-04-31', 'soon'])
      expect((await side.addAction(reviewer('linh'), CASE, action(owner, due))).says, due).toContain('Choose a day')
    expect((await side.addAction(reviewer('linh'), CASE, action(owner))).isDone).toBe(true)
    const [first] = await side.report('2026-04')
    expect(first?.rows).toEqual([['Ask about the device before the way', owner, '2026-04-30']])
    const [open] = (await side.actions()).open
    const end = (how: string, says: string) =>
      side.endAction(
        reviewer('linh'),
        open?.number ?? 0,
        new Map([
          ['how', [how]],
          ['says', [says]],
        ]),
      )
    expect((await end('done', 'it is done now')).isDone).toBe(false)
    expect((await end('flow', 'done')).isDone).toBe(false)
    expect((await end('flow', 'tube-out as approved on 3 April')).isDone).toBe(true)
    expect((await end('reason', 'another word on the same')).isDone).toBe(false)
    const { open: left, ended } = await side.actions()
    expect([left, ended.map(({ line: how }) => how)]).toEqual([
      [],
      ['with a changed flow: tube-out as approved on 3 April'],
    ])
    expect((await side.report('2026-04')).map(({ id }) => id)).not.toContain('actions')
    expect(acts.map(({ did }) => did).slice(-2)).toEqual(['review-action', 'review-action-ended'])
  })

  it('takes no half score, none with a number in its note, and none of what was not drawn', async () => {
    expect(await side.reviewed(reviewer('linh'), CASE, undefined)).toBeUndefined()
    expect((await side.score(reviewer('linh'), CASE, filled('safe'))).isDone).toBe(false)
    await draw()
    const half = filled('safe')
    half.delete('item.plain-words')
    expect((await side.score(reviewer('linh'), CASE, half)).says).toContain('plain-words is not answered')
    const note = new Map([...filled('safe'), ['note', ['ring 212 555 0142']]])
    expect((await side.score(reviewer('linh'), CASE, note)).says).toContain('a long number')
    expect(reviews.scoresOf(CASE)).toEqual([])
  })

  it('has nothing to show of a case that was erased since, and no draw of an open one', async () => {
    await draw()
    stored.delete(CASE)
    expect(await side.reviewed(reviewer('linh'), CASE, undefined)).toBeUndefined()
    expect(reviews.summary(CASE)).toBeDefined()
    stored.set('b'.repeat(32), { talk: aTalk(line).says(), closed: false })
    expect((await side.queue(reviewer('linh'), '2026-03')).rows).toHaveLength(1)
  })
})
