import { rungsAt, rungsMissedAt } from '../oncall/ladder.ts'
import { gaps } from '../oncall/rota.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { days, type Instant, instant } from '../time/instant.ts'
import { clockText, dayText } from '../time/local-time.ts'
import { argumentsOf, CalledWrongly, type Command, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'

export const rotaCommand: Command = {
  name: 'rota',
  summary: 'who is on call: "rota at [INSTANT]", "rota gaps" for the next 14 days',
  usage: 'smallhours rota at [INSTANT] [--clinic FOLDER] [--json]\nsmallhours rota gaps [--clinic FOLDER] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      json: { type: 'boolean', default: false },
    })
    const now = systemClock().now()
    const { loaded, problems } = loadLine({ clinicDir: values.clinic, at: now })
    if (loaded === undefined) {
      reportProblems(problems)
      return 1
    }
    const { clinic } = loaded.line
    const [what, when] = positionals
    if (what === 'at') {
      const at = when === undefined ? now : instantSaid(when)
      const rungs = rungsAt(clinic, at).map(({ rung, id, name }) => ({ rung: rung + 1, id, name }))
      const missed = rungsMissedAt(clinic, at)
      if (values.json) print(JSON.stringify({ at: new Date(at).toISOString(), rungs, missed }))
      else for (const rung of rungs) print(`${rung.rung}. ${rung.name}`)
      return rungs.length === 0 ? 1 : 0
    }
    if (what === 'gaps') {
      const found = gaps(clinic, now, instant(now + days(14)))
      const shown = found.map(
        gap =>
          `nobody from ${dayText(gap.from, clinic.zone, now, 'en')} ${clockText(gap.from, clinic.zone, clinic.clock, 'en')} until ${dayText(gap.until, clinic.zone, now, 'en')} ${clockText(gap.until, clinic.zone, clinic.clock, 'en')}`,
      )
      if (values.json) print(JSON.stringify({ gaps: found }))
      else print(shown.length === 0 ? 'No gaps in the next 14 days.' : shown.join('\n'))
      return found.length === 0 ? 0 : 1
    }
    throw new CalledWrongly('"at" or "gaps" was expected')
  },
}

/** An instant with its zone; without one it would mean another moment on another machine. */
function instantSaid(text: string): Instant {
  const at = /(Z|[+-]\d\d:?\d\d)$/.test(text) ? Date.parse(text) : Number.NaN
  if (Number.isNaN(at))
    throw new CalledWrongly(`"${text}": an instant with its zone, such as 2026-03-01T07:10:00Z, was expected`)
  return instant(at)
}
