import { describe, expect, it } from 'vitest'
import type { Flow } from '../../src/flow/flow-set.ts'
import { certainIn, followingIn } from '../../src/modelcheck/model/certain.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { reachedFrom } from '../../src/modelcheck/model/steps-ahead.ts'
import { cellFor, STATUS } from '../../src/modelcheck/model/tables.ts'
import { shippedFlows } from '../support/a-line.ts'

const flat = flatten(shippedFlows.flows.get('tube-out') as Flow, shippedFlows, {})
const at = (id: string) => flat.nodeOf.get(id) ?? -1
const field = (fact: string) => flat.fieldOf.get(fact) ?? -1
const ahead = (id: string) => new Set([at(id), ...reachedFrom(flat, [at(id)])])
const certainAt = (id: string, turns: readonly string[] = []) =>
  certainIn(flat, true)(ahead(id), turns.map(at)).map(each => flat.cells[each]?.fact)

/** Steps ahead of one, with one answer given and taken for granted. */
function aheadWith(id: string, fact: string, value: string): (string | undefined)[] {
  const state = new Int32Array(flat.fields.count)
  const cell = flat.cells[field(fact)]
  if (cell === undefined) throw new Error(`no fact "${fact}"`)
  const answer = cell.domain.classes.findIndex(({ members }) => members.includes(value))
  state[field(fact)] = cellFor(cell, STATUS.reached, answer)
  return followingIn(flat)([at(id)], new Set([field(fact)]), state).steps.map(node => flat.nodes[node]?.id)
}

describe('an answer that is certain', () => {
  it('is one whose question lies behind, and which nothing ahead asks, sets or is told by the way', () => {
    const certain = certainAt('shared/leave')
    expect(certain).toContain('in-opening')
    expect(certain).toContain('device')
    for (const fact of ['have-you-left', 'can-travel', 'have-you-arrived', 'first-placed'])
      expect(certain).not.toContain(fact)
  })

  it('is none while its question may still be put', () => {
    expect(certainAt('opening')).not.toContain('in-opening')
    expect(certainAt('travel')).not.toContain('first-placed')
  })

  it('is none where a step that may turn stands before its question: the turn would forget it', () => {
    expect(certainAt('leave')).toContain('critical-medicine-due')
    expect(certainAt('leave', ['clock'])).not.toContain('critical-medicine-due')
    expect(certainAt('leave', ['clock'])).toContain('in-opening')
  })

  it('rules out the rows that surely fail and those below one that surely fits', () => {
    const nasal = aheadWith('shared/emergency', 'device', 'nasal')
    expect(nasal).toContain('shared/emergency-plan')
    expect(nasal).not.toContain('shared/emergency-tube-in')
    const empty = aheadWith('shared/emergency', 'in-opening', 'nothing')
    expect(empty).toContain('shared/emergency-empty')
    expect(empty).not.toContain('shared/emergency-either')
    expect(empty).not.toContain('shared/emergency-tube-in')
    // The kind of tube is open: its row may fit.
    expect(empty).toContain('shared/emergency-plan')
  })
})
