import { describe, expect, test } from 'vitest'
import type { RunningCase } from '../../src/runtime/machine.ts'
import { eventOfUnderstood } from '../../src/runtime/understanding.ts'
import type { Understood } from '../../src/understand/understood.ts'

const said = 'she is crying a lot and it looks swollen'
const words: Understood = { kind: 'concern', concerns: [], facts: {}, readBacks: {}, said }
const body = { kind: 'text', text: said } as const

describe('words that answer no question', () => {
  test('while nothing is asked they go to a person: the family was told to write here', () => {
    expect(eventOfUnderstood(words, body, {} as RunningCase)).toEqual({ kind: 'personWanted', said })
  })

  test('"we have left", written before it is asked, is told to the case', () => {
    const left: Understood = { kind: 'left', said: 'we have left' }
    expect(eventOfUnderstood(left, body, {} as RunningCase)).toEqual({ kind: 'leftSaid', said: 'we have left' })
  })

  test('while a question is open they are kept as said and the question is asked again', () => {
    const open = { open: { serial: 3, fact: 'device', askedAt: 0, misread: 0, changing: false } }
    expect(eventOfUnderstood(words, body, open as unknown as RunningCase)).toEqual({
      kind: 'notUnderstood',
      reason: 'not-an-option',
      said,
    })
  })
})
