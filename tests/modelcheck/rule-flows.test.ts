import { describe, expect, it } from 'vitest'
import { shippedRules, walkFor } from '../support/rule-bench.ts'
import { type Tiny, tinyFlow } from '../support/rule-flow.ts'
import { TINY_RULES } from '../support/tiny-rules.ts'

function shown(id: string, tiny: Tiny) {
  const rule = shippedRules.rules.find(each => each.id === id)
  if (rule === undefined) throw new Error(`no rule "${id}"`)
  const { flow, set } = tinyFlow(tiny)
  return walkFor(rule, flow, set, { interruptions: false, alarms: false })
}

describe('each rule about a concern finds a flow that breaks it, and lets one through that keeps it', () => {
  it.each(TINY_RULES)('%s', (id, keeps, breaks) => {
    expect(shown(id, keeps)).toMatchObject({ breach: undefined })
    expect(shown(id, breaks).breach?.way[0]).toBe('opened')
  })
})
