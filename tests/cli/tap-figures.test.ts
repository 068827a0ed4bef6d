import { expect, it } from 'vitest'
import { tapLine, tapText } from '../../src/cli/tap-figures.ts'

const figure = (best: number, median: number, worst: number) => ({ best, median, worst })
const walked = (decision: ReturnType<typeof figure>) => ({
  policies: {},
  questions: { toAdvice: figure(0, 0, 1), toDecision: decision, toRest: figure(2, 4, 9) },
})

it('the most is that of the worst setting, the middle that of the first', () => {
  expect(tapText([walked(figure(1, 2, 5)), walked(figure(1, 3, 8))], 'toDecision')).toBe('at most 8, middle 2')
})

it('a flow in which it never comes says so', () => {
  expect(tapText([walked(figure(-1, -1, -1))], 'toDecision')).toBe('never')
})

it('a flow that was not walked has no line', () => {
  const none = figure(-1, -1, -1)
  expect(tapLine([{ policies: {}, questions: { toAdvice: none, toDecision: none, toRest: none } }])).toBeUndefined()
})
