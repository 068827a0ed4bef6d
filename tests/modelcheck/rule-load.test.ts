import { describe, expect, it } from 'vitest'
import { loadRules } from '../../src/flow/rule-load.ts'
import { shippedFlows } from '../support/a-line.ts'
import { LENGTHS } from '../support/rule-bench.ts'

const HEAD = `rules:
  one:
    means: "It holds."
    hazards: [H1]
    reason: "A test."
    own: "a test"
`

/** Problems of one rule, each as code, place and nearest id. */
function problemsOf(form: string): string[] {
  const { problems } = loadRules(new Map([['rules/a.yaml', HEAD + form]]), shippedFlows, LENGTHS)
  return problems.map(
    ({ code, line, column, nearest }) => `${code} ${line}:${column}${nearest === undefined ? '' : ` ${nearest}`}`,
  )
}

const TABLE: readonly (readonly [what: string, form: string, problem: string])[] = [
  ['a tag that does not exist', '    absence: { says: [puts-in-site] }\n', 'UNKNOWN_ID 7:23 puts-into-site'],
  ['advice that does not exist', '    absence: { says: [advice/go-nowe] }\n', 'UNKNOWN_ID 7:23 advice/go-now'],
  [
    'a fact that does not exist',
    '    absence: { rests: true }\n    while: { tracts: [new] }\n',
    'UNKNOWN_ID 8:14 tract',
  ],
  [
    'a value a fact does not have',
    '    absence: { rests: true }\n    while: { tract: [newer] }\n',
    'UNKNOWN_ID 8:22 new',
  ],
  ['a policy outside its range', '    absence: { rests: true }\n    while: { family-ph: [yes] }\n', 'UNKNOWN_ID 8:26'],
  ['a page reason that does not exist', '    absence: { pages: [tube-outt] }\n', 'UNKNOWN_ID 7:24 tube-out'],
  ['an alarm that does not exist', '    absence: { alarm: [leave-bye] }\n', 'UNKNOWN_ID 7:24 leave-by'],
  ['a question about no fact', '    absence: { asks: [travell] }\n', 'UNKNOWN_ID 7:23 travel'],
  ['a source that does not exist', '    sources: ["99.99"]\n    absence: { rests: true }\n', 'UNKNOWN_ID 7:15'],
  ['a flow that does not exist', '    flows: [tube-outs]\n    absence: { rests: true }\n', 'UNKNOWN_ID 7:13 tube-out'],
  [
    'a length of silence that is neither a setting nor a length',
    '    response: { after: { asks: any }, must: { pages: any }, within: { silent: left-silence } }\n',
    'UNKNOWN_ID 7:79 left-silent',
  ],
  [
    'a rule that can never apply',
    '    absence: { rests: true }\n    while: { tract: [new] }\n    unless: { tract: [new, unknown] }\n',
    'RULE_EMPTY 9:13',
  ],
  ['two forms in one rule', '    absence: { rests: true }\n    universality: { decided: speak }\n', 'WRONG_VALUE 3:5'],
  ['no form at all', '', 'WRONG_VALUE 3:5'],
  ['a happening that names nothing', '    absence: {}\n', 'WRONG_VALUE 7:14'],
  ['existence without the moment it is due', '    existence: { rests: true }\n', 'WRONG_VALUE 3:5'],
  ['a key that has no meaning', '    absence: { rests: true }\n    whiel: { tract: [new] }\n', 'UNKNOWN_KEY 8:5 while'],
]

describe('what is wrong with a rule is named with its place', () => {
  it.each(TABLE)('%s', (_, form, problem) => {
    expect(problemsOf(form)).toContain(problem)
  })

  it('one id twice, in two files', () => {
    const text = `${HEAD}    absence: { rests: true }\n`
    const { rules, problems } = loadRules(
      new Map([
        ['rules/a.yaml', text],
        ['rules/b.yaml', text],
      ]),
      shippedFlows,
      LENGTHS,
    )
    expect(rules).toBeUndefined()
    expect(problems.map(({ code, file, line }) => `${code} ${file}:${line}`)).toEqual(['RULE_TWICE rules/b.yaml:2'])
  })

  it('an order of answers that names an unknown fact or value', () => {
    const text = 'worse:\n  deviice: [[nasal], [into-bowel]]\n  device: [[nasal], [in-bowel]]\n'
    const { problems } = loadRules(new Map([['rules/a.yaml', text]]), shippedFlows, LENGTHS)
    expect(problems.map(({ line, nearest }) => `${line} ${nearest}`)).toEqual(['2 device', '3 into-bowel'])
  })

  it('no folder of rules is no fault: there are none', () => {
    expect(loadRules(new Map(), shippedFlows, LENGTHS)).toEqual({ rules: { rules: [], worse: {} }, problems: [] })
  })
})
