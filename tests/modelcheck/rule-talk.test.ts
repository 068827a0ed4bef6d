import { describe, expect, it } from 'vitest'
import type { Flow } from '../../src/flow/flow-set.ts'
import { shippedFlows } from '../support/a-line.ts'
import { PLAIN } from '../support/broken-flows.ts'
import { shippedRules, walkFor } from '../support/rule-bench.ts'
import { TALK_RULES } from '../support/talk-rules.ts'

describe('each rule about pages, alarms and what a reply holds together finds a flow that breaks it', () => {
  it.each(TALK_RULES)('%s', (id, flow, { policies = {}, answers = {}, interruptions = false, alarms = false }) => {
    const rule = shippedRules.rules.find(each => each.id === id)
    if (rule === undefined) throw new Error(`no rule "${id}"`)
    const walk = { policies, answers: { ...PLAIN, ...answers }, interruptions, alarms }
    expect(walkFor(rule, flow, shippedFlows, walk).breach?.way[0]).toBe('opened')
    const shipped = shippedFlows.flows.get(flow.concern) as Flow
    expect(walkFor(rule, shipped, shippedFlows, walk).breach).toBeUndefined()
  })
})
