import { describe, expect, it } from 'vitest'
import { GROWING } from '../../src/modelcheck/model/abstract-answers.ts'
import { factMaps } from '../../src/modelcheck/model/forgetting.ts'
import { type Cell, cellFor, classIn, STATUS, seenIn, type Test } from '../../src/modelcheck/model/tables.ts'
import { tellingOf } from '../../src/modelcheck/model/told-apart.ts'
import { shippedFlows } from '../support/a-line.ts'

// How old a tract is: it may come from one class to the next while a conversation goes on.

const document = shippedFlows.facts['first-placed']
if (document === undefined) throw new Error('there is no fact "first-placed"')
const classes = [...GROWING, 'unsure'].map(id => ({ id, members: [id], literals: new Set([id]), band: id }))
const cell: Cell = {
  fact: 'first-placed',
  domain: { fact: 'first-placed', document, classes },
  size: 1 + 3 * classes.length,
}

/** Holds where talk sees one of these. */
const sees = (...ids: string[]): Test => ({
  on: 'first-placed',
  values: ids,
  fields: [0],
  strides: [1],
  table: Uint8Array.from({ length: cell.size }, (_, value) => Number(ids.includes(seenIn(cell, value)?.id ?? ''))),
})

/** By class as answered, the class that stands for it; "nothing" where that is no answer. */
function standsFor(tests: readonly Test[], isAsked = false): Readonly<Record<string, string>> {
  const telling = tellingOf([cell.size])
  telling.begin()
  telling.add(tests)
  const map = factMaps([cell], telling)(0, { isAsked, isReadAgain: false })
  return Object.fromEntries(
    classes.map(({ id }, index) => [
      id,
      classIn(cell, map[cellFor(cell, STATUS.reached, index)] ?? 0)?.id ?? 'nothing',
    ]),
  )
}

describe('a tract that nothing tells from the next older one', () => {
  it('is put to the older, which can grow on', () =>
    expect(standsFor([sees('over-settled', 'unsure')])).toEqual({
      'under-first-days': 'under-settled',
      'under-settled': 'under-settled',
      'over-settled': 'over-settled',
      unsure: 'over-settled',
    }))

  it('stays apart from one further on where another lies between', () => {
    const stands = standsFor([sees('under-settled')])
    expect(stands['under-first-days']).toBe('under-first-days')
    expect(stands['over-settled']).toBe('nothing')
  })

  it('is none, where no answer is told from it either and it grows into nothing that is', () =>
    expect(standsFor([sees('under-first-days')])).toEqual({
      'under-first-days': 'under-first-days',
      'under-settled': 'nothing',
      'over-settled': 'nothing',
      unsure: 'nothing',
    }))
})

describe('what was told before it was asked', () => {
  const [told, asked] = [STATUS.given, STATUS.reached].map(status => cellFor(cell, status, 1))
  const putTo = (isReadAgain: boolean) => {
    const telling = tellingOf([cell.size])
    telling.begin()
    telling.add([sees('under-settled')])
    const map = factMaps([cell], telling)(0, { isAsked: false, isReadAgain })
    return [map[told ?? 0], map[asked ?? 0]]
  }

  it('is as good as an answer where every step that reads it is come to once', () =>
    expect(new Set(putTo(false)).size).toBe(1))

  it('stays apart where one may be come to again: it is seen there still, an answer is not', () =>
    expect(putTo(true)).toEqual([told, asked]))
})

describe('an answer that nothing tells apart', () => {
  it('is none, once its question lies behind', () =>
    expect(new Set(Object.values(standsFor([])))).toEqual(new Set(['nothing'])))

  it('is an answer still, while its question lies ahead', () =>
    expect(Object.values(standsFor([], true))).not.toContain('nothing'))
})
