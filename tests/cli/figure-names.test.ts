import { expect, test } from 'vitest'
import { figureNames } from '../../src/cli/figure-names.ts'
import { aLine } from '../support/a-line.ts'

test('every question a flow asks has a name for people, also one whose words stand in its own flow alone', () => {
  const line = aLine()
  const { fact } = figureNames(line)
  const asked = [...line.flows.flows.values()].flatMap(({ steps }) =>
    [...steps.values()].flatMap(({ ask }) => ask ?? []),
  )
  expect(asked.length).toBeGreaterThan(20)
  expect([...new Set(asked)].filter(id => fact(id) === id)).toEqual([])
})
