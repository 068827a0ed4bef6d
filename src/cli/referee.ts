import { settingIds } from '../config/setting-definitions.ts'
import { loadFlows } from '../flow/load.ts'
import { loadRules } from '../flow/rule-load.ts'
import { flatten } from '../modelcheck/model/flat-flow.ts'
import { promelaOf } from '../modelcheck/referee/promela.ts'
import { watchRules } from '../modelcheck/referee/rules.ts'
import { observationsOf } from '../modelcheck/rules/rule-compile.ts'
import { argumentsOf, CalledWrongly, type Command, print } from './command.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { reportProblems } from './problems.ts'

/** For whoever does not want to take this program's word for what it proves about itself. */
export const refereeCommand: Command = {
  name: 'referee',
  summary: 'prints a flow with its safety rules as a model for SPIN, so that another program can check it',
  usage: 'smallhours referee FLOW [FLOWS] [--only FACT=ANSWER,ANSWER]… [--on POLICY]… [--answers]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      only: { type: 'string', multiple: true, default: [] },
      on: { type: 'string', multiple: true, default: [] },
      answers: { type: 'boolean', default: false },
    })
    const [concern = '', flowsDir = SHIPPED_FLOWS] = positionals
    const files = new Map(readFlowFiles(flowsDir))
    const { set, problems } = loadFlows(files)
    if (set === undefined) return reportProblems(problems) ? 1 : 0
    const flow = set.flows.get(concern)
    if (flow === undefined)
      throw new CalledWrongly(`FLOW "${concern}": one of ${[...set.flows.keys()].join(', ')} was expected`)
    const read = loadRules(files, set, settingIds)
    if (read.rules === undefined) return reportProblems(read.problems) ? 1 : 0
    const { rules } = read.rules
    const policies = Object.fromEntries(values.on.map(id => [known(id, Object.keys(set.policies)), 'on']))
    const only = Object.fromEntries(values.only.map(text => answersIn(text, Object.keys(set.facts))))
    const part = { policies, only, givable: new Map() }
    const flat = flatten(flow, set, { ...part, observed: observationsOf(rules, flatten(flow, set, part)) })
    const told = watchRules(rules, flat)
    const quiet = values.answers ? ({ corrections: 'none', interruptions: false } as const) : {}
    print(HOW)
    for (const [index, id] of told.rules.entries()) print(`/* broken == ${index + 1}: ${id} */`)
    print(promelaOf(flat, { ...quiet, watch: told.watch }))
    return 0
  },
}

const HOW = `/* To check it:  spin -a -o2 FILE && cc -O2 -DNOREDUCE -DSAFETY -o pan pan.c && ./pan -E -c0 -m3000000
   "assertion violated (broken!=N)" is rule N below. States stored are the explorer's and one more: before the case begins.
   A large flow is too large for SPIN as a whole: let most facts have one answer (--only), or leave out words and taps that
   come at any moment, and corrections (--answers). */`

function known(id: string, ids: readonly string[]): string {
  if (ids.includes(id)) return id
  throw new CalledWrongly(`"${id}": one of ${ids.join(', ')} was expected`)
}

function answersIn(text: string, facts: readonly string[]): [string, string[]] {
  const [fact = '', answers = ''] = text.split('=')
  if (answers === '') throw new CalledWrongly(`--only ${text}: FACT=ANSWER,ANSWER was expected`)
  return [known(fact, facts), answers.split(',')]
}
