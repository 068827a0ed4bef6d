import { loadClinic } from '../config/clinic-file.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { tellOutcome } from './approve.ts'
import { argumentsOf, CalledWrongly, type Command, print } from './command.ts'
import { atDesk } from './desk-at-hand.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { reportProblems } from './problems.ts'

export const rollbackCommand: Command = {
  name: 'rollback',
  summary: 'puts a part back to the content that two clinicians approved last before: "rollback PART --by ID"',
  usage:
    'smallhours rollback PART --by ID [--why REASON] [--trial] [--clinic FOLDER] [--data FOLDER] [--flows FOLDER] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string' },
      flows: { type: 'string' },
      by: { type: 'string' },
      why: { type: 'string', default: '' },
      trial: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const [part, ...more] = positionals
    const { by, why, trial, data, flows: flowsDir, clinic: clinicDir } = values
    if (part === undefined || more.length > 0) throw new CalledWrongly('one part was expected, such as tube-out')
    if (by === undefined) throw new CalledWrongly('--by was expected: the id of the clinic lead who decides it')
    const { asRead: clinic, problems } = loadClinic(clinicDir, systemClock().now())
    if (clinic === undefined) {
      reportProblems(problems)
      return 1
    }
    const outcome = await atDesk({ clinicDir, clinic, by, data, flowsDir }, (desk, who) =>
      desk.rollBack(who, part, why, trial),
    )
    if (!values.json) return tellOutcome('rollback', outcome)
    print(JSON.stringify(outcome))
    return outcome.kind === 'done' ? 0 : 1
  },
}
