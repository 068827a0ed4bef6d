import { describe, expect, it } from 'vitest'
import { loadRules } from '../../src/flow/rule-load.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { givableIn, messagesOf, saidIn } from '../../src/modelcheck/model/givable.ts'
import { checkFlow } from '../../src/modelcheck/rules/check-flow.ts'
import { sayableIn } from '../../src/understand/fact.ts'
import { shippedFiles, shippedFlows } from '../support/a-line.ts'
import { shippedVignettes } from '../support/situation-ways.ts'

const { loaded } = shippedVignettes()
const sayable = sayableIn(loaded.lexicons.values())
const flowOf = (concern: string) => {
  const flow = shippedFlows.flows.get(concern)
  if (flow === undefined) throw new Error(`there is no flow "${concern}"`)
  return flow
}

function checked(concern: string, said: typeof sayable) {
  const lengths = Object.fromEntries(
    Object.entries(loaded.line.settings).filter((entry): entry is [string, number] => typeof entry[1] === 'number'),
  )
  const { rules } = loadRules(shippedFiles, shippedFlows, Object.keys(lengths))
  if (rules === undefined) throw new Error('the rules cannot be read')
  return checkFlow(flowOf(concern), shippedFlows, rules, {
    settings: { lengths, settledNeedsChange: true, sayable: said },
    ...{ now: () => performance.now(), policies: {}, interruptions: 'once', compares: false },
  })
}

describe('what a first message may say', () => {
  it('is what a row reads before talk has asked it, and words can say', () => {
    const ofBalloon = [...givableIn(flowOf('balloon'), shippedFlows, sayable).keys()]
    expect(ofBalloon).toEqual(expect.arrayContaining(['wrong-port', 'replaced', 'balloon-empties', 'length-outside']))
    expect([...givableIn(flowOf('clogged'), shippedFlows, sayable).keys()]).toContain('who-writes')
    // Read in a step that many flows share, and never asked in this one.
    expect([...givableIn(flowOf('bleeding'), shippedFlows, sayable).keys()]).toEqual(
      expect.arrayContaining(['device', 'in-opening', 'replaced']),
    )
    // Asked before any row reads it.
    expect(ofBalloon).not.toContain('first-placed')
  })

  it('is walked in every combination of what words can say, and only of that', () => {
    const said = new Map([
      ['wrong-port', ['into-balloon-port', 'other-line']],
      ['balloon-empties', ['no']],
    ])
    const flat = flatten(flowOf('balloon'), shippedFlows, { givable: said })
    const messages = Array.from({ length: messagesOf(flat) }, (_, message) =>
      saidIn(flat, message).map(({ field, index }) => flat.cells[field]?.domain.classes[index]?.id ?? ''),
    )
    expect(new Set(messages.map(each => each.join())).size).toBe(messages.length)
    expect(messages).toContainEqual([])
    expect(messages.flat()).not.toContain('unsure')
    expect(messages.some(each => each.length === 2)).toBe(true)
  })

  it('that a school nurse writes leads to the first advice for a school', () => {
    const { covered } = checked('clogged', new Map([['who-writes', ['school']]]))
    expect(covered).toContain('first-school')
  })
})
