import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { addApproval, approvedIdsIn } from '../../src/cli/approvals-folder.ts'
import { approvedLine } from '../../src/cli/approved-line.ts'
import { type CameTo, isLowered } from '../../src/cli/conversations-changed.ts'
import { conversationSaid, differentSaid } from '../../src/cli/conversations-said.ts'
import { conversationsSide, type PlayPart, playInProcess } from '../../src/cli/conversations-side.ts'
import { type ConversationsFound, conversationsText } from '../../src/cli/conversations-told.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { approvedSources } from '../../src/cli/roll-back.ts'
import { instant, minutes } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { ROOT } from '../support/clone.ts'
import { screenWording } from '../support/screen-words.ts'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-conversations-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))
const flow = join(folder, 'flows/someone/flow.yaml')

/** Situations that the clinic wrote down itself. */
const OURS = `- id: sure-of-nothing
  title: A parent who is sure of nothing
  source: { title: Talked through at a team meeting, how: practice }
  at: 2026-03-01T07:10:00Z
  concern: someone
  expect: { decides: ambulance, pages: true }
- id: nothing-dangerous
  title: A parent who wants to speak to a person about nothing dangerous
  source: { title: Talked through at a team meeting, how: practice }
  at: 2026-03-01T07:10:00Z
  concern: someone
  answers: { danger-signs: [none] }
  expect: { decides: speak, pages: true }
`

/** Approved by both: a clinic's own flow for whoever wants a person. */
let approved = ''
beforeAll(() => {
  cpSync(DEMO_CLINIC, folder, { recursive: true })
  mkdirSync(join(folder, 'vignettes'))
  writeFileSync(join(folder, 'vignettes/ours.yaml'), OURS)
  cpSync(join(ROOT, 'flows/someone'), join(folder, 'flows/someone'), { recursive: true })
  const part = loadLine({ clinicDir: folder, at: NIGHT }).approvables.find(({ id }) => id === 'someone')
  const files = approvedSources(folder, undefined, 'someone')
  if (part === undefined || files === undefined) throw new Error('there is no flow "someone"')
  approved = part.hash
  for (const [index, by] of ['amara', 'ingrid'].entries())
    addApproval(folder, { ...part, files }, { by, at: instant(NIGHT - minutes(60 - index)), languages: part.languages })
})

const played = async (): Promise<ConversationsFound> => {
  const { out } = await smallhours('approve', 'someone', '--conversations', '--json', '--clinic', folder)
  return JSON.parse(out) as ConversationsFound
}
const edit = (from: string, to: string): void => {
  const text = readFileSync(flow, 'utf8')
  if (!text.includes(from)) throw new Error(`${flow} no longer holds ${from}`)
  writeFileSync(
    flow,
    text.replace(from, () => to),
  )
}

describe('conversations that would now go differently', { timeout: 60_000 }, () => {
  let found: Extract<ConversationsFound, { kind: 'compared' }>
  beforeAll(async () => {
    // Whoever wants a person is told to wait for the morning.
    edit('decide: speak', 'decide: tell-clinic')
    const answer = await played()
    if (answer.kind !== 'compared') throw new Error(answer.why)
    found = answer
  }, 60_000)

  it('are those of the situations about the part, held against exactly what was approved, the lowered first', () => {
    expect(found.approved).toBe(approved)
    expect(found.tried).toBeGreaterThan(4)
    expect(found.unreadable).toEqual([])
    const [first] = found.differing
    expect(first).toMatchObject({
      isLowered: true,
      before: { decided: 'speak', pages: true },
      after: { decided: 'tell-clinic', pages: true },
    })
    const lowered = found.differing.map(one => one.isLowered)
    expect(lowered).toEqual(lowered.toSorted((a, b) => Number(b) - Number(a)))
    expect(found.differing.length).toBeLessThan(found.tried)
  })

  it('are those in which a line is gone, too, and not only words', async () => {
    const edits = [
      ['decide: tell-clinic', 'decide: speak'],
      ['say: [waiting-for-call, watch-while-waiting, worse-waiting]', 'say: [waiting-for-call, worse-waiting]'],
    ] as const
    for (const [from, to] of edits) edit(from, to)
    const shortened = await played()
    for (const [from, to] of edits) edit(to, from)
    if (shortened.kind !== 'compared') throw new Error(shortened.why)
    expect(shortened.differing.map(({ id, isLowered }) => [id, isLowered])).toEqual([
      ['nothing-dangerous', false],
      ['person-nothing-dangerous', false],
      ['person-sure-of-nothing', false],
    ])
    const state = { kind: 'found', found: shortened } as const
    const saying = { wording: screenWording, line: aLine(), id: 'someone' }
    const said = conversationSaid(state, 'nothing-dangerous', saying)
    const own = (lines: readonly { readonly text: string; readonly isOwn: boolean }[] = []) =>
      lines.flatMap(({ text, isOwn }) => (isOwn ? [text] : []))
    expect(own(said?.wasLines)).toEqual([expect.stringMatching(/^Watch for pain/)])
    expect(own(said?.isLines)).toEqual([])
    // Nothing of a run is left to chance, so that nothing else differs.
    expect(shortened.onlyWords).toBe(0)
  })

  it('are told in words, both sides, and word for word on a page of their own', () => {
    const saying = { wording: screenWording, line: aLine() }
    const { says, rows } = differentSaid({ kind: 'found', found }, saying)
    expect(says.join(' ')).toMatch(/situations were played through what was approved, and through this\. .*lowered/)
    expect(rows[0]?.was).toContain('Speak to a clinician now')
    expect(rows[0]?.is).toContain('Tell the clinic when it opens')
    const said = conversationSaid({ kind: 'found', found }, rows[0]?.id ?? '', { ...saying, id: 'someone' })
    expect(said?.wasLines.length).toBeGreaterThan(5)
    expect(said?.wasLines.some(({ isOwn }) => isOwn)).toBe(false)
    expect(conversationSaid({ kind: 'found', found }, 'no-such', { ...saying, id: 'someone' })).toBeUndefined()
  })

  it('are told on a terminal, one situation after the other', async () => {
    const { lines, end } = conversationsText(found, 'someone')
    expect(lines[0]).toMatch(/^LOWERED {3}[a-z-]+: .*\n {4}was: speak, pages.*\n {4}is: {2}tell-clinic, pages/)
    expect(end).toMatch(/^\d+ of \d+ situations go differently, \d+ lowered; \d+ more in words only$/)
  })

  it('leave the clinic folder and what is served as they are', () => {
    expect(approvedIdsIn(folder)).toEqual(['someone'])
    expect(readFileSync(flow, 'utf8')).toContain('decide: tell-clinic')
  })

  it('cannot be told where the approved files were not kept, or nothing was approved', async () => {
    const place = { clinicDir: folder, at: NIGHT }
    expect(approvedLine({ ...place, part: 'someone' }, 'f'.repeat(64))).toEqual({ why: 'not-kept' })
    const { out, code } = await smallhours('approve', 'skin', '--conversations', '--json', '--clinic', folder)
    expect([code, JSON.parse(out)]).toEqual([1, { kind: 'not-compared', why: 'never-approved' }])
  })
})

const came: CameTo = {
  ...{ decided: 'set-out', advised: [], pages: true, leaveBy: NIGHT, questions: 3, conversation: [] },
}

/** Own rules: what a second reader must look at first. */
it.each<[string, Partial<CameTo>, boolean]>([
  ['something milder is decided', { decided: 'speak' }, true],
  ['nothing is decided', { decided: null }, true],
  ['something more urgent is decided', { decided: 'ambulance' }, false],
  ['nobody is paged', { pages: false }, true],
  ['the family leaves a minute later', { leaveBy: NIGHT + 60_000 }, true],
  ['the family leaves a minute sooner', { leaveBy: NIGHT - 60_000 }, false],
  ['there is no time to leave by any more', { leaveBy: null }, true],
  ['one question more is asked', { questions: 4 }, false],
])('a conversation in which %s counts as lowered: %s', (_what, change, lowered) => {
  expect(isLowered(came, { ...came, ...change })).toBe(lowered)
})

describe('what is played for a page', () => {
  it('is played by the command in a process of its own', async () => {
    expect(await playInProcess({ clinicDir: folder })('skin')).toEqual({ kind: 'not-compared', why: 'never-approved' })
  })

  const nothing: ConversationsFound = { kind: 'not-compared', why: 'not-kept' }
  const settled = () => new Promise(resolve => setImmediate(resolve))

  it('is played once for one pair of contents, one part at a time, and anew for another pair', async () => {
    const asked: string[] = []
    const play: PlayPart = async part => {
      asked.push(part)
      return nothing
    }
    const side = conversationsSide(play, () => {})
    expect([side.of('skin', 'a b'), side.of('skin', 'a b')]).toEqual([{ kind: 'working' }, { kind: 'working' }])
    await settled()
    expect(side.of('skin', 'a b')).toEqual({ kind: 'found', found: nothing })
    side.of('skin', 'a c')
    await settled()
    expect(asked).toEqual(['skin', 'skin'])
  })

  it('says when it could not be played, tells the log, and is tried again', async () => {
    const faults: unknown[] = []
    let tries = 0
    const side = conversationsSide(
      async () => {
        tries += 1
        if (tries === 1) throw new Error('ended with 1')
        return nothing
      },
      error => faults.push(error),
    )
    side.of('skin', 'a b')
    await settled()
    expect(side.of('skin', 'a b')).toEqual({ kind: 'failed' })
    await settled()
    expect(side.of('skin', 'a b').kind).toBe('found')
    expect(faults).toHaveLength(1)
  })
})
