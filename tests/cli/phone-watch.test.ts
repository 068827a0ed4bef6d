import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { deskFile } from '../../src/cli/desk-file.ts'
import { type PhoneWatch, phoneWatch } from '../../src/cli/phone-watch.ts'
import { testCallouts } from '../../src/cli/test-callouts.ts'
import type { ToPeople } from '../../src/runtime/tell-people.ts'
import { type Instant, instant, minutes, seconds } from '../../src/time/instant.ts'
import { aLine } from '../support/a-line.ts'
import { type HandClock, handClock } from '../support/hand-clock.ts'
import { screenWording } from '../support/screen-words.ts'

/**
 * Monday 2 March 2026 in New York by the demonstration's week: Amara Osei has "first" until 18:00, then Tomás Herrera; Dr. Yusuf
 * Demir has "second" from 8:00 for a day. Open from 8:00 to 18:00.
 */
const at = (clock: string): Instant => instant(Date.parse(`2026-03-02T${clock}:00-05:00`))

describe('who has the telephone', () => {
  let folder: string
  let clock: HandClock
  let told: ToPeople[]
  let outcome: 'accepted' | 'refused'
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'smallhours-phones-'))
    told = []
    outcome = 'accepted'
  })
  afterEach(() => rmSync(folder, { recursive: true, force: true }))

  /** A bot that starts at `from`; on the same folder it remembers. */
  function starting(from: Instant) {
    clock = handClock(from)
    const onFault = (error: unknown) => expect(error).toBeUndefined()
    const callouts = testCallouts(join(folder, 'callouts.json'), onFault)
    const watch: PhoneWatch = phoneWatch({
      ...{ clock, now: clock.now, line: aLine, callouts, wording: screenWording, onFault },
      desk: deskFile(join(folder, 'desk.json'), onFault),
      async tellPeople(asked) {
        told.push(asked)
        return asked.to.map(who => ({ who, pager: 'smtp', outcome }))
      },
      calloutLink: id => `http://localhost/p/test/${id}`,
      onCallLink: () => 'http://localhost/on-call',
    })
    const answer = (who: string): void => {
      const callout = callouts.latestOf(who)
      if (callout !== undefined) callouts.keep({ ...callout, answeredAt: clock.now() })
    }
    return { watch, callouts, answer }
  }
  const sent = () => told.map(({ to, pieces }) => `${to.join(',')}: ${pieces.join(' ').split(/[.:]/)[0]}`)

  it('is asked at the start of a shift, over every way, and is said by answering: nobody else hears of it', async () => {
    const { watch, answer } = starting(at('17:59'))
    await watch.look()
    told = []
    watch.start()
    await clock.advance(minutes(2))
    expect(sent()).toEqual(['tomas: YOUR SHIFT'])
    expect(told[0]?.pieces[0]).toMatch(/^YOUR SHIFT: first, until .*8:00 am\. No family is waiting\./)
    expect(watch.saidOf('tomas')).toEqual({ kind: 'asked', at: at('18:00') })
    answer('tomas')
    await clock.advance(minutes(30))
    expect(sent()).toHaveLength(1)
    expect(watch.saidOf('tomas')?.kind).toBe('said')
    expect(watch.doubts()).toEqual([])
    watch.stop()
  })

  it('is unanswered for 15 minutes: the next person and the clerk are told, once, over a restart too, and the board says so', async () => {
    const first = starting(at('17:59'))
    await first.watch.look()
    told = []
    first.watch.start()
    await clock.advance(minutes(15) + seconds(30))
    expect(sent()).toEqual(['tomas: YOUR SHIFT'])
    await clock.advance(minutes(1))
    expect(sent()).toEqual([
      'tomas: YOUR SHIFT',
      'yusuf,malia: Tomás Herrera has not said that they have the telephone (first, until tomorrow 8',
    ])
    first.watch.stop()
    const second = starting(at('18:20'))
    second.watch.start()
    await clock.advance(minutes(10))
    expect(told).toHaveLength(2)
    expect(second.watch.doubts().join()).toContain('Tomás Herrera has not said')
    // A press on the page says it as well; it proves no telephone.
    expect(second.watch.say('tomas')).toBe(true)
    expect(second.watch.doubts()).toEqual([])
    expect(second.callouts.confirmedAt('tomas')).toBeUndefined()
    second.watch.stop()
  })

  it('is not asked of somebody whose shift began long before the bot: nobody is woken to say so', async () => {
    const { watch } = starting(at('23:00'))
    await watch.look()
    expect(told).toEqual([])
    expect(watch.saidOf('tomas')).toBeUndefined()
  })

  it('is said only by whoever has the turn', () => {
    const { watch } = starting(at('23:00'))
    expect([watch.say('amara'), watch.say('nobody'), watch.say('tomas')]).toEqual([false, false, true])
  })

  it('is taken as said where a test call-out was answered within the hour before', async () => {
    const { watch, callouts } = starting(at('17:30'))
    callouts.keep({ id: 'a', who: 'tomas', at: at('17:20'), ways: [], answeredAt: at('17:25') })
    await watch.look()
    told = []
    clock.setWallBy(minutes(31))
    await watch.look()
    expect(sent()).toEqual([])
  })

  it('is tried an hour before the clinic closes for the night, for everybody of the night, once', async () => {
    const { watch } = starting(at('16:58'))
    watch.start()
    await clock.advance(minutes(1))
    expect(told).toEqual([])
    await clock.advance(minutes(20))
    expect(sent()).toEqual(['tomas: TEST CALL-OUT for tonight', 'yusuf: TEST CALL-OUT for tonight'])
    watch.stop()
  })

  it('does not get through to somebody: the clerk is told by name and way, and the board says so until it was answered', async () => {
    outcome = 'refused'
    const { watch, answer } = starting(at('17:05'))
    await watch.look()
    expect(sent().at(-1)).toBe('malia: THE TEST FOR TONIGHT did not get through')
    expect(told.at(-1)?.pieces[0]).toContain('Tomás Herrera: e-mail; Dr. Yusuf Demir: e-mail')
    expect(watch.doubts().join()).toContain('Dr. Yusuf Demir: e-mail')
    answer('tomas')
    answer('yusuf')
    expect(watch.doubts()).toEqual([])
  })
})
