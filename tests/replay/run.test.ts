import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import { AROUND } from '../../src/cli/replay-around.ts'
import { deidentifiedEffect, deidentifiedEvent } from '../../src/replay/de-identify.ts'
import { editionIn, lineOfEdition } from '../../src/replay/edition.ts'
import type { Names } from '../../src/replay/names.ts'
import { KEEPS_ALL } from '../../src/replay/names.ts'
import { type Replayed, replayed } from '../../src/replay/run.ts'
import { onTables } from '../../src/replay/table-kernel.ts'
import { anEvent, happens } from '../case/events-drawn.ts'
import { aLine } from '../support/a-line.ts'
import { aTalk, type CaseTalk, PLAIN, phone } from '../support/case-talk.ts'
import { HIDDEN, readAll, transcriptOf } from './a-transcript.ts'

const line = aLine()
const fast: Line = { ...line, flows: onTables(line.flows) }

/** Written down, read, and run again on the flows of another line with the transcript's own clinic. */
function again(talk: CaseTalk, names: Names, on: Line = line): Replayed | undefined {
  const { reading, whole, faults } = readAll(transcriptOf(line, [talk], { names }))
  expect(faults).toEqual([])
  const [recorded] = whole
  const edition = [...reading.editions.values()][0]
  if (recorded === undefined || edition === undefined) return undefined
  return replayed(recorded, () => lineOfEdition(editionIn(edition), on.flows), AROUND)
}

/** A conversation of everything that may happen. */
const aDrawnTalk = fc.array(anEvent, { maxLength: 25 }).map(drawn => {
  const talk = aTalk(line).says()
  const answers = Object.fromEntries(
    Object.entries({ ...PLAIN, 'ring-back': phone }).map(([fact, said]) => [
      fact,
      typeof said === 'object' && 'kind' in said
        ? said
        : line.flows.facts[fact]?.kind === 'many'
          ? { kind: 'many' as const, values: [said].flat() as string[] }
          : { kind: 'choice' as const, value: String(said) },
    ]),
  )
  for (const one of drawn) happens(talk, one, answers)
  return talk
})

describe('a case run again', () => {
  it('decides the same to the byte: as recorded, de-identified, and on tables, whatever happened', () => {
    fc.assert(
      fc.property(aDrawnTalk, talk => {
        const steps = talk.log.length
        expect(again(talk, KEEPS_ALL)).toEqual({ kind: 'same', steps })
        expect(again(talk, HIDDEN)).toEqual({ kind: 'same', steps })
        expect(again(talk, HIDDEN, fast)).toEqual({ kind: 'same', steps })
      }),
      { numRuns: 25 },
    )
  })

  it('decides of a de-identified event the de-identified decision: no decision rests on what is taken out', () => {
    const talk = aTalk(line).says().answersAll(PLAIN).takes()
    const names = { ...HIDDEN, caseId: talk.state.caseId }
    const texts = talk.log.map(({ event, effects }) => [
      JSON.stringify(deidentifiedEvent(event, names)),
      JSON.stringify(effects.map(effect => deidentifiedEffect(effect, names))),
    ])
    for (const text of texts.flat()) expect(text).not.toMatch(/Amara|his tube|"amara"/)
    expect(again(talk, HIDDEN)?.kind).toBe('same')
  })

  it('whose recorded advice was changed afterwards is told with its step and both decisions', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    const third = talk.log[3]
    if (third === undefined) throw new Error('a talk of four steps was expected')
    const changed = third.effects.map(effect =>
      effect.kind === 'reply' ? { ...effect, parts: effect.parts.slice(1) } : effect,
    )
    talk.log[3] = { ...third, effects: changed }
    const result = again(talk, HIDDEN)
    expect(result).toMatchObject({ kind: 'differs', seq: 4 })
    expect(result?.kind === 'differs' && result.now).not.toEqual(result?.kind === 'differs' && result.recorded)
  })

  it('whose step breaks now is told as broken, and not thrown', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    const tubeOut = line.flows.flows.get('tube-out')
    if (tubeOut === undefined) throw new Error('the shipped flow was expected')
    const breaking = {
      ...tubeOut,
      kernel: {
        ...tubeOut.kernel,
        step: () => {
          throw new Error('it does not go on')
        },
      },
    }
    const on: Line = { ...line, flows: { ...line.flows, flows: new Map([['tube-out', breaking]]) } }
    expect(again(talk, HIDDEN, on)).toMatchObject({ kind: 'differs', seq: 1, broken: 'Error: it does not go on' })
  })

  it('that people took over runs on as one that people have', () => {
    const talk = aTalk(line).says()
    const [ways] = [AROUND.park(line, { kind: 'greeted' }, talk.now)]
    const parked = ways[0]
    if (parked === undefined) throw new Error('a way of parking was expected')
    talk.log.push({ event: { kind: 'greeted' }, at: talk.now, effects: parked.effects })
    const next = AROUND.stepParked(parked.state, line, { kind: 'personWanted', said: 'help' }, talk.now)
    talk.log.push({ event: { kind: 'personWanted', said: 'help' }, at: talk.now, effects: next.effects })
    expect(again(talk, HIDDEN)).toEqual({ kind: 'same', steps: 3, parkedAt: 2 })
  })

  it('takes words that the runtime put before a reply for what they are', () => {
    const talk = aTalk(line).says()
    const [first] = talk.log
    const effects = (first?.effects ?? []).map(effect =>
      effect.kind === 'reply'
        ? { ...effect, parts: [{ kind: 'say' as const, id: 'works-again' }, ...effect.parts] }
        : effect,
    )
    if (first !== undefined) talk.log[0] = { ...first, effects }
    expect(again(talk, HIDDEN)).toEqual({ kind: 'same', steps: 1 })
  })
})
