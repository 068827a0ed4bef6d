import { describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import { type Answered, judgedAlone, judgedTogether, type Posed } from '../../src/cli/what-if-together.ts'
import { editionIn, lineOfEdition } from '../../src/replay/edition.ts'
import { minutes } from '../../src/time/instant.ts'
import { aLine } from '../support/a-line.ts'
import { aTalk } from '../support/case-talk.ts'
import { HIDDEN, readAll, transcriptOf } from './a-transcript.ts'

const line = aLine()

/** More cases than one batch holds; every second is held against a slower ladder. */
function cases(count: number): readonly Posed[] {
  const talk = aTalk(line).says({}, ['fit']).waits(30)
  const { reading, whole } = readAll(transcriptOf(line, [talk], { names: HIDDEN }))
  const [edition] = [...reading.editions.values()]
  const [recorded] = whole
  if (edition === undefined || recorded === undefined) throw new Error('a whole case was expected')
  const was = lineOfEdition(editionIn(edition), line.flows)
  const ladder = [minutes(20), minutes(25), minutes(30)] as const
  const slower: Line = { ...was, settings: { ...was.settings, 'ladder-urgent': ladder } }
  return Array.from({ length: count }, (_, index) => {
    const other = index % 2 === 0 ? was : slower
    return { recorded, file: reading, lines: { was: () => was, other: () => other } }
  })
}

async function* one(all: readonly Posed[]) {
  yield* all
}

async function all(told: AsyncGenerator<Answered>): Promise<readonly Answered[]> {
  const found: Answered[] = []
  for await (const answered of told) found.push(answered)
  return found
}

describe('cases judged by helpers', () => {
  it('are judged here where a helper cannot read the clinic, in the order in which they were read', async () => {
    const posed = cases(70)
    const alone = await all(judgedAlone(one(posed)))
    const together = await all(judgedTogether(one(posed), { clinic: 'no such folder', settings: [] }, 1))
    expect(together.map(({ posed: { recorded } }) => recorded)).toEqual(posed.map(({ recorded }) => recorded))
    expect(together.map(({ verdict }) => verdict)).toEqual(alone.map(({ verdict }) => verdict))
    expect(new Set(alone.map(({ verdict }) => verdict.kind))).toEqual(new Set(['same', 'differs']))
  })
})
