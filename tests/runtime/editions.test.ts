import { describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import { FlowChanged } from '../../src/case/line.ts'
import { type Edition, editions } from '../../src/runtime/editions.ts'
import { lineMachine } from '../../src/runtime/line-machine.ts'
import { instant } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { AMARA, aTalk } from '../support/case-talk.ts'

const served = (hash: string, name = 'Harbour Lights feeding clinic'): Line => {
  const line = aLine()
  const hashes = new Map([...line.flows.flows.keys()].map(concern => [concern, concern === 'tube-out' ? hash : 'same']))
  return { ...line, hashes, clinic: { ...line.clinic, name } }
}
const editionOf = (line: Line): Edition => ({
  line,
  machine: lineMachine(line),
  understand: () => ({ kind: 'concern', concerns: [line.hashes?.get('tube-out') ?? ''], facts: {} }) as never,
})
const change = (of: ReturnType<typeof editions>, next: Line): void =>
  of.take(editionOf(next), ({ flows, hashes }) => editionOf({ ...next, flows, ...(hashes ? { hashes } : {}) }))
const opened = (line: Line) => JSON.stringify(aTalk(line).says().state)

describe('a line that is changed while cases are open', () => {
  it('keeps the flow a case was opened under, and parks nobody', () => {
    const line = editions(editionOf(served('a1')))
    const json = opened(served('a1'))
    change(line, served('b2'))
    const state = line.machine.parse(json)
    expect(state).toMatchObject({ flowHash: 'a1' })
    const taken = { kind: 'pageAcknowledged', by: AMARA, doing: { kind: 'ringing-now' } } as const
    expect(line.machine.step(state, taken, NIGHT).state).toMatchObject({ flowHash: 'a1' })
    expect(line.machine.openCase({ ...opening, caseId: '02' })).toMatchObject({ flowHash: 'b2' })
  })

  it('gives open cases of earlier flows the clinic of now', () => {
    const line = editions(editionOf(served('a1', 'Old name')))
    const json = opened(served('a1'))
    change(line, served('b2', 'New name'))
    change(line, served('c3', 'Newest name'))
    expect([line.lineOf(json).hashes?.get('tube-out'), line.lineOf(json).clinic.name]).toEqual(['a1', 'Newest name'])
  })

  it('reads an open case with the words it was opened under, a first message with those of now', () => {
    const line = editions(editionOf(served('a1')))
    const state = line.machine.parse(opened(served('a1')))
    change(line, served('b2'))
    const heard = (about: typeof state | undefined) =>
      line.understand({ body: { kind: 'text', text: 'it is out' }, state: about, at: NIGHT })
    expect(heard(state)).toMatchObject({ concerns: ['a1'] })
    expect(heard(undefined)).toMatchObject({ concerns: ['b2'] })
  })

  it('asks the archive, where there is one, for the flow of a case that a process before it opened, and once', () => {
    const asked: string[] = []
    const line = editions(editionOf(served('b2')), (concern, hash) => {
      asked.push(`${concern} ${hash}`)
      return hash === 'a1' ? editionOf(served('a1', 'Name of then')) : undefined
    })
    expect(line.machine.parse(opened(served('a1')))).toMatchObject({ flowHash: 'a1' })
    expect(line.lineOf(opened(served('a1'))).hashes?.get('tube-out')).toBe('a1')
    expect(() => line.machine.parse(opened(served('gone')))).toThrow(FlowChanged)
    expect(() => line.machine.parse(opened(served('gone')))).toThrow(FlowChanged)
    expect(asked).toEqual(['tube-out a1', 'tube-out gone'])
    // A change while it runs gives the case of then the clinic of now.
    change(line, served('c3', 'Newest name'))
    expect(line.lineOf(opened(served('a1'))).clinic.name).toBe('Newest name')
  })

  it('is the same line for a case where only a number or a shift changed', () => {
    const line = editions(editionOf(served('a1', 'Old name')))
    change(line, served('a1', 'New name'))
    const json = opened(served('a1'))
    expect(line.lineOf(json)).toBe(line.current().line)
    expect(line.machine.parse(json)).toMatchObject({ flowHash: 'a1' })
  })

  it('forgets a flow only after six others, and then says that it changed', () => {
    const line = editions(editionOf(served('h0')))
    const json = opened(served('h0'))
    for (let number = 1; number <= 6; number += 1) change(line, served(`h${number}`))
    expect(line.machine.parse(json)).toMatchObject({ flowHash: 'h0' })
    change(line, served('h7'))
    expect(() => line.machine.parse(json)).toThrow(FlowChanged)
  })

  it('has nothing to choose from what cannot be read, and refuses it as before', () => {
    const line = editions(editionOf(served('a1')))
    change(line, served('b2'))
    expect(() => line.machine.parse('{')).toThrow('not JSON')
    expect(() => line.machine.parse('null')).toThrow()
  })
})

const opening = {
  caseId: '01',
  chat: { channel: 'web', chat: 'a' },
  at: instant(NIGHT),
  code: 'Sun 4719',
  concern: 'tube-out',
  serialAfter: 0,
}
