import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Clinician } from '../../src/case/event.ts'
import type { Fault, FaultCode } from '../../src/runtime/fault.ts'
import { faultFields, type LogFields, lineLog } from '../../src/runtime/log.ts'
import { minutes } from '../../src/time/instant.ts'
import { failingStore } from '../support/failing-store.ts'
import { CHAT, NIGHT, wordsOf, world } from '../support/world.ts'

/** What must never be found in a log: words, names, numbers, addresses, dates, in several scripts. */
const CANARIES = [
  'Zephyrkin ate quokkalamp', '+12025550142', '2025550142', '202-555-0142', '202.555.0142', '1 (202) 555 0142', 'канарейка',
  '金絲雀', 'zephyr@kin.test', '12/03/2021', '2021-03-12', '9 Thistlewhim Row', 'a\nb {"what":"x"}', "'; DROP TABLE", '\u0000',
] // biome-ignore format: one list
const canary = fc.constantFrom(...CANARIES)
const noise = fc.oneof(
  canary,
  fc.tuple(canary, fc.string()).map(pair => pair.join(' ')),
)

function written(fields: Parameters<ReturnType<typeof lineLog>>[0]): string {
  let text = ''
  lineLog(
    () => NIGHT,
    line => {
      text += line
    },
  )(fields)
  return text
}

/** The line without its instant, unescaped so that nothing hides in it. */
const plain = (line: string): string => {
  const { at: _at, ...rest } = JSON.parse(line)
  return Object.values(rest).join(' ')
}
const leaks = (line: string): string[] => CANARIES.filter(one => one.trim() !== '' && plain(line).includes(one))

function errorOf(words: string, inStack: string): Error {
  const error = new RangeError(words, { cause: new Error(words) })
  error.stack = `RangeError: ${words}\n    at ${inStack} (/home/${inStack}/x.ts:1:1)\n    at fine (/a/b/worker.ts:12:3)`
  return Object.assign(error, { said: words, code: words })
}

describe('the log', () => {
  it('holds one line of JSON and none of the words, whatever stands in the fields of a fault', () => {
    const fault = fc.record(
      {
        code: fc.constantFrom<FaultCode>('store-failed', 'case-parked', 'line-unheard', 'pager-failing'),
        caseId: noise,
        effectId: noise,
        lane: noise as fc.Arbitrary<never>,
        why: noise,
        ms: fc.oneof(fc.double(), noise as fc.Arbitrary<never>),
        error: fc.oneof(
          fc.tuple(noise, noise).map(pair => errorOf(...pair)),
          noise,
          fc.record({ said: noise }),
        ),
      },
      { requiredKeys: ['code'] },
    )
    fc.assert(
      fc.property(fault, given => {
        const ids = { ...given, caseId: 'a1b2c3d4a1b2c3d4', effectId: 'a1b2c3d4a1b2c3d4.2.0' }
        for (const one of [given, ids] as Fault[]) {
          const line = written(faultFields(one))
          expect(line.indexOf('\n')).toBe(line.length - 1)
          // A bare number may stand where only an id can: case ids are digests and never come from anyone.
          const found = leaks(line).filter(text => !(one === given && /^[\d./-]+$/.test(text)))
          expect(found).toEqual([])
        }
      }),
      { numRuns: 500 },
    )
  })

  it('drops fields nobody listed and withholds what is no code, whatever the caller passes', () => {
    fc.assert(
      fc.property(fc.dictionary(fc.string(), noise), noise, (others, words) => {
        const given = {
          ...others,
          said: words,
          what: words,
          why: words,
          pager: words,
          channel: words,
          place: words,
          alarm: words,
        }
        const line = written(given as unknown as LogFields)
        expect(leaks(line.replaceAll(/"(caseId|effectId)":"[^"]*",?/g, ''))).toEqual([])
        expect(JSON.parse(line).said).toBeUndefined()
      }),
      { numRuns: 300 },
    )
    expect(
      JSON.parse(written({ what: 'case-parked', why: 'http-503', ms: 1234, place: 'worker.ts:12' })),
    ).toMatchObject({
      what: 'case-parked',
      why: 'http-503',
      ms: 1234,
      place: 'worker.ts:12',
    })
  })

  it('of nights in which everything fails, with words in every field of every event, holds none of them', async () => {
    const by: Clinician = { id: 'amara', name: 'Nurse Amara Osei', role: 'feeding nurse' }
    const act = fc.record({
      words: noise,
      how: fc.constantFrom(
        'text',
        'choice',
        'new-child',
        'broken machine',
        'broken reader',
        'clinician',
        'outcome',
        'wait',
      ),
      store: fc.constantFrom(undefined, undefined, 'throws', 'full', 'contended', 'unread'),
      pager: fc.constantFrom('accepted', 'throws', 'reason'),
    })
    let lines = 0
    await fc.assert(
      fc.asyncProperty(fc.array(act, { minLength: 3, maxLength: 8 }), async acts => {
        const disk = failingStore()
        const night = await world({ through: disk.through }).start()
        await night.say('the tube is out')
        for (const { words, how, store, pager } of acts) {
          if (store === undefined) disk.mend()
          else disk.fail(store as never)
          night.page = async () => {
            if (pager === 'throws') throw new Error(words)
            return pager === 'reason' ? { kind: 'failed', reason: words } : { kind: 'accepted' }
          }
          const [known] = await night.store.casesOf(CHAT)
          const caseId = known?.caseId ?? ''
          const done =
            how === 'wait'
              ? night.advance(minutes(6))
              : how === 'choice'
                ? night.send({ kind: 'choice', serial: 1, values: [words] })
                : how === 'new-child'
                  ? night.send({ kind: 'control', control: 'new-child', subject: words })
                  : how === 'clinician'
                    ? night.runtime.act(caseId, { kind: 'clinicianWrote', by, text: words })
                    : how === 'outcome'
                      ? night.runtime.act(caseId, {
                          kind: 'outcomeSet',
                          by,
                          outcome: 'x',
                          note: words,
                          doNotWrite: false,
                        })
                      : night.say(how === 'text' ? words : `${words} break the ${how.slice('broken '.length)}`)
          await done.catch(() => undefined)
          await night.clock.advance(2_000)
        }
        for (const fault of night.faults) {
          lines += 1
          expect(leaks(written(faultFields(fault)))).toEqual([])
        }
        // Where the words must be: what was searched for was said.
        if (acts.every(({ store }) => store === undefined) && acts[0]?.how === 'text')
          expect(night.delivered.flatMap(wordsOf).length).toBeGreaterThan(1)
      }),
      { numRuns: 60 },
    )
    expect(lines).toBeGreaterThan(200)
  })
})
