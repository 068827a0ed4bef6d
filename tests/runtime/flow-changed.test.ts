import { describe, expect, it } from 'vitest'
import { FlowChanged, type Line } from '../../src/case/line.ts'
import { parseState } from '../../src/case/state.ts'
import { lineMachine } from '../../src/runtime/line-machine.ts'
import { park } from '../../src/runtime/parking.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { aTalk } from '../support/case-talk.ts'

const served = (hash: string): Line => ({ ...aLine(), hashes: new Map([['tube-out', hash]]) })
const stored = (line: Line) => JSON.stringify(aTalk(line).says().state)

describe('a stored case', () => {
  it('keeps the hash of the flow it was opened under, and goes on under the same', () => {
    const json = stored(served('a1'))
    expect(JSON.parse(json)).toMatchObject({ concern: 'tube-out', flowHash: 'a1' })
    expect(lineMachine(served('a1')).parse(json)).toMatchObject({ flowHash: 'a1' })
  })

  it.each([
    ['of another content', 'a1', served('b2')],
    ['of a release that kept no hash', undefined, served('b2')],
    ['of a flow that is not served any more', 'a1', { ...aLine(), hashes: new Map() }],
  ] as const)('%s does not go on', (_what, hash, line) => {
    const json = stored(hash === undefined ? aLine() : served(hash))
    expect(() => lineMachine(line).parse(json)).toThrow(FlowChanged)
  })

  it('of another content says so even where its step is gone', () => {
    const json = stored(served('a1')).replace(/"talk":"[^"]*"/, '"talk":"gone-step"')
    expect(() => lineMachine(served('b2')).parse(json)).toThrow(FlowChanged)
    expect(() => lineMachine(served('a1')).parse(json)).toThrow('a step that its flow does not have')
  })

  it('can still be read by whoever only shows it, and when it is closed', () => {
    const json = stored(served('a1'))
    expect(parseState(served('b2'), json).flowHash).toBe('a1')
    const closed = JSON.stringify({ ...(JSON.parse(json) as object), closed: true })
    expect(lineMachine(served('b2')).parse(closed).closed).toBe(true)
  })

  it('that is parked for it pages everyone, in words of its own', () => {
    const { effects, state } = park({ state: '{}', code: 'Sun 4719', why: 'flow-changed' }, ['amara', 'ingrid'], NIGHT)
    expect(effects.filter(({ kind }) => kind === 'page')).toHaveLength(2)
    expect(
      effects.some(
        effect => effect.kind === 'reply' && effect.parts.some(part => 'id' in part && part.id === 'fallback'),
      ),
    ).toBe(true)
    const words = lineMachine(aLine()).parkedPage({ code: 'Sun 4719', why: state.parked.why, at: NIGHT })
    expect(words[0]).toContain("the clinic's steps changed")
    expect(words.join(' ')).toContain('Sun 4719')
  })
})
