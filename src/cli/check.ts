import { loadFlows } from '../flow/load.ts'
import { argumentsOf, type Command, print } from './command.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { reportProblems } from './problems.ts'

export const checkCommand: Command = {
  name: 'check',
  summary: 'reads a flows folder and names every fault with file, line and the nearest valid id',
  usage: 'smallhours check [FLOWS] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, { json: { type: 'boolean', default: false } })
    const { set, problems } = loadFlows(readFlowFiles(positionals[0] ?? SHIPPED_FLOWS))
    const flows = [...(set?.flows.values() ?? [])].map(flow => ({
      flow: flow.concern,
      steps: flow.steps.size,
      advice: flow.advice.size,
    }))
    if (values.json) print(JSON.stringify({ flows, problems }))
    else {
      for (const flow of flows) print(`${flow.flow}: ${flow.steps} steps, ${flow.advice} pieces of advice`)
    }
    const grave = values.json ? problems.some(problem => problem.severity === 'problem') : reportProblems(problems)
    return grave ? 1 : 0
  },
}
