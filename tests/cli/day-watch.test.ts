import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import type { CaseState } from '../../src/case/state.ts'
import { dayWatch } from '../../src/cli/day-watch.ts'
import { deskFile } from '../../src/cli/desk-file.ts'
import type { Clinic } from '../../src/oncall/clinic.ts'
import type { StoredCase } from '../../src/store/store.ts'
import { type Instant, instant, minutes, seconds } from '../../src/time/instant.ts'
import { aLine, demoClinic } from '../support/a-line.ts'
import { AMARA, aTalk } from '../support/case-talk.ts'
import { handClock } from '../support/hand-clock.ts'
import { screenWording } from '../support/screen-words.ts'

/** Monday 2 March 2026 in New York: the demonstration's clinic opens at 8:00. */
const OPENS = instant(Date.parse('2026-03-02T13:00:00Z'))

/** Somebody leads here. */
const led = (): Clinic => ({
  ...demoClinic(),
  people: demoClinic().people.map(one => (one.id === 'ingrid' ? { ...one, roles: ['lead'] } : { ...one, roles: [] })),
})

describe("what is urgent and nobody's after the clinic opened", () => {
  let folder: string
  let told: { to: readonly string[]; text: string }[]
  let state: CaseState
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-day-'))
    told = []
    state = aTalk(aLine())
      .says({ 'in-opening': 'nothing', device: 'balloon-long' })
      .answers('danger-signs', ['none']).state
  })
  afterEach(() => rmSync(folder, { recursive: true, force: true }))

  const untaken = () => told.filter(({ text }) => text.startsWith('NOBODY HAS THESE'))

  function watching(at: Instant) {
    const clock = handClock(at)
    const line: Line = { ...aLine(), clinic: led() }
    const desk = deskFile(join(folder, 'desk.json'), error => expect(error).toBeUndefined())
    const stored = (): StoredCase => ({
      ...{ caseId: state.caseId, chat: state.chat, seq: 1, closed: false, changedAt: at, state: JSON.stringify(state) },
    })
    return {
      clock,
      desk,
      watch: dayWatch({
        ...{ clock, now: clock.now, line: () => line, desk, wording: screenWording },
        sources: async () => ({
          ...{ line, lineOf: () => line, doubts: [], desk: desk.read(), at: clock.now(), wording: screenWording },
          store: { recent: async () => [stored()] },
        }),
        async tellPeople({ to, pieces }) {
          told.push({ to, text: pieces.join(' ') })
          return []
        },
        link: () => 'http://localhost/now',
        onFault: error => expect(error).toBeUndefined(),
      }),
    }
  }

  it('goes to whoever leads, half an hour after the opening, once for a night and over a restart', async () => {
    const { clock, watch } = watching(instant(OPENS + minutes(29)))
    watch.start()
    await clock.advance(seconds(50))
    expect(untaken()).toEqual([])
    await clock.advance(minutes(10))
    expect(untaken()).toEqual([{ to: ['ingrid'], text: expect.stringMatching(/Sun \d{4}/) as string }])
    watch.stop()
    const again = watching(instant(OPENS + minutes(45)))
    await again.watch.look()
    expect(untaken()).toHaveLength(1)
  })

  it('is one line at the opening for everybody who had the night, once, with how many were judged worth waking for', async () => {
    const { clock, watch, desk } = watching(OPENS)
    desk.change({ judged: { [state.caseId]: { isWorth: true, at: OPENS } } })
    watch.start()
    await clock.advance(minutes(5))
    expect(told).toEqual([
      {
        to: ['amara', 'tomas', 'linh', 'yusuf', 'ingrid'],
        text: expect.stringMatching(
          /^LAST NIGHT\. .*One case\..* 1 case was judged worth waking somebody for\.$/,
        ) as string,
      },
    ])
    watch.stop()
    await watching(instant(OPENS + minutes(10))).watch.look()
    expect(told).toHaveLength(1)
  })

  it('goes to nobody once somebody has it, and not at night', async () => {
    state = { ...state, day: { taker: AMARA, by: AMARA, at: OPENS } }
    await watching(instant(OPENS + minutes(60))).watch.look()
    state = { ...state, day: undefined } as unknown as CaseState
    await watching(instant(OPENS - minutes(120))).watch.look()
    expect(untaken()).toEqual([])
  })
})
