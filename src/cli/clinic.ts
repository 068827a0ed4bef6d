import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, type Command, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems, reportSilenced } from './problems.ts'

export const clinicCommand: Command = {
  name: 'clinic',
  summary: "checks a clinic's file and everything beside it; names the line of each fault",
  usage: 'smallhours clinic [--clinic FOLDER] [--json]',
  async run(args) {
    const { values } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      json: { type: 'boolean', default: false },
    })
    const { problems, silenced } = loadLine({ clinicDir: values.clinic, at: systemClock().now() })
    if (values.json) print(JSON.stringify({ problems }))
    const grave = values.json ? problems.some(problem => problem.severity === 'problem') : reportProblems(problems)
    if (!values.json) reportSilenced(silenced)
    if (!grave && !values.json) print('The clinic file can be used.')
    return grave ? 1 : 0
  },
}
