import { type LoadedClinic, loadClinic } from '../config/clinic-file.ts'
import { wallTimeIn } from '../config/clinic-shapes.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { dayNumberOf, instantsOf, type WallTime, wallTimeAt } from '../oncall/wall-time.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { type Instant, instant } from '../time/instant.ts'
import { argumentsOf, CalledWrongly, type Command, print, wholeNumber } from './command.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { reportProblems } from './problems.ts'
import { exportCalendar, importCalendar } from './rota-calendars.ts'
import { changeRota } from './rota-change.ts'
import { type RotaTold, toldAt, toldCalendar, toldGaps } from './rota-look.ts'

const DAYS_LOOKED = 90
const DAYS_MOST = 731

const USAGE = [
  'smallhours rota at [INSTANT] [--clinic FOLDER] [--json]       who is paged; INSTANT like "2026-12-24 18:00" in the clinic\'s zone',
  'smallhours rota gaps [--days 90] [--clinic FOLDER] [--json]   hours in which nobody is on call, or one person is the whole ladder',
  'smallhours rota calendar [--month 2026-12] [--json]           who is on call on each day',
  'smallhours rota import FILE-or-https-ADDRESS --role ROLE [--ignore TITLE] [--yes]   shows the next 14 days of a calendar; --yes puts it in force',
  'smallhours rota export --role ROLE [--days 90]                who is on call, as an iCalendar text',
  'smallhours rota cover ROLE PERSON FROM UNTIL [--why WORDS] [--yes]',
  'smallhours rota swap ROLE START OF TO [--in-return START] [--why WORDS] [--yes]',
  'smallhours rota leave PERSON FROM UNTIL [--why WORDS] [--yes]',
  "  cover, swap and leave show in one sentence what changes; with --yes they write it into the clinic's file",
].join('\n')

const options = {
  clinic: { type: 'string' as const, default: DEMO_CLINIC },
  json: { type: 'boolean' as const, default: false },
  days: { type: 'string' as const, default: String(DAYS_LOOKED) },
  month: { type: 'string' as const },
  role: { type: 'string' as const },
  ignore: { type: 'string' as const, multiple: true as const, default: [] as string[] },
  why: { type: 'string' as const },
  'in-return': { type: 'string' as const },
  yes: { type: 'boolean' as const, default: false },
}

export const rotaCommand: Command = {
  name: 'rota',
  summary: 'who is on call: at an instant, gaps, a month, calendars in and out; cover, swap, leave',
  usage: USAGE,
  async run(args) {
    const { values, positionals } = argumentsOf(args, options)
    const now = systemClock().now()
    const [what, ...rest] = positionals
    const look = (tell: (clinic: Clinic) => RotaTold): number => {
      const clinic = usable(loadClinic(values.clinic, now))
      if (clinic === undefined) return 1
      const { document, lines, isWell } = tell(clinic)
      print(values.json ? JSON.stringify(document) : lines.join('\n'))
      return isWell ? 0 : 1
    }
    const why = values.why === undefined ? {} : { why: values.why }
    const given = { clinicDir: values.clinic, at: now, yes: values.yes, json: values.json }
    switch (what) {
      case 'at':
        return look(clinic => toldAt(clinic, rest[0] === undefined ? now : instantSaid(rest[0], clinic), now))
      case 'gaps':
        return look(clinic => toldGaps(clinic, now, daysSaid(values.days)))
      case 'calendar':
        return look(clinic => {
          const [first, count] = monthSaid(values.month, wallTimeAt(clinic.zone, now))
          return toldCalendar(clinic, first, count)
        })
      case 'import': {
        const loaded = loadClinic(values.clinic, now)
        const clinic = usable(loaded)
        if (clinic === undefined) return 1
        const [source = ''] = rest
        if (rest.length !== 1) throw new CalledWrongly('a calendar file or an https address was expected')
        const { role = '', ignore: ignores, yes, json } = values
        return importCalendar({ clinicDir: values.clinic, loaded, clinic, role, source, ignores, at: now, yes, json })
      }
      case 'export': {
        const clinic = usable(loadClinic(values.clinic, now))
        return clinic === undefined ? 1 : exportCalendar(clinic, values.role ?? '', now, daysSaid(values.days))
      }
      case 'cover': {
        const [role, who, from, until] = words(rest, 4)
        return changeRota(given, { kind: 'cover', role, who, from: wallSaid(from), until: wallSaid(until), ...why })
      }
      case 'swap': {
        const [role, starts, of, to] = words(rest, 4)
        const back = values['in-return']
        return changeRota(given, {
          ...{ kind: 'swap', role, starts: wallSaid(starts), of, to },
          ...(back === undefined ? {} : { inReturn: { role, starts: wallSaid(back) } }),
          ...why,
        })
      }
      case 'leave': {
        const [who, from, until] = words(rest, 3)
        return changeRota(given, { kind: 'leave', who, from: wallSaid(from), until: wallSaid(until, 1), ...why })
      }
      default:
        throw new CalledWrongly('one of at, gaps, calendar, import, export, cover, swap, leave was expected')
    }
  },
}

/** The clinic, where it can be used; else its problems are told. */
function usable({ clinic, problems }: LoadedClinic): Clinic | undefined {
  if (clinic === undefined) reportProblems(problems)
  return clinic
}

function words(given: readonly string[], count: 3 | 4): readonly [string, string, string, string] {
  if (given.length !== count) throw new CalledWrongly(`${count} words were expected, ${given.length} are given`)
  const [a = '', b = '', c = '', d = ''] = given
  return [a, b, c, d]
}

/** An instant with its zone, or a date and local time of the clinic. In an hour that comes twice the first is meant. */
function instantSaid(text: string, { zone }: Clinic): Instant {
  // With a T it is the form of an instant, which must name its zone.
  const wall = text.includes(' ') ? wallTimeIn(text) : undefined
  if (wall !== undefined) return instantsOf(zone, wall).earlier
  const at = /(Z|[+-]\d\d:?\d\d)$/.test(text) ? Date.parse(text) : Number.NaN
  if (Number.isNaN(at))
    throw new CalledWrongly(
      `"${text}": a date and local time, such as "2026-03-01 02:10", or an instant with its zone, such as 2026-03-01T07:10:00Z, was expected`,
    )
  return instant(at)
}

/** A date and local time; a date alone is its first minute, or with `addDays` the first minute after it. */
function wallSaid(text: string, addDays = 0): WallTime {
  const date = /^(\d{4})-(\d{2})-(\d{2})$/.exec(text)
  const day = date === null ? undefined : dayNumberOf(Number(date[1]), Number(date[2]), Number(date[3]))
  const wall = day === undefined ? wallTimeIn(text) : { day: day + addDays, minute: 0 }
  if (wall === undefined)
    throw new CalledWrongly(`"${text}": a date and local time, such as "2026-12-24 18:00", was expected`)
  return wall
}

const daysSaid = (text: string): number => wholeNumber('--days', text, 1, DAYS_MOST)

/** First local day and number of days of a month such as 2026-12; of the present one where none is said. */
function monthSaid(text: string | undefined, today: WallTime): readonly [first: number, count: number] {
  const said = text ?? new Date(today.day * 86_400_000).toISOString().slice(0, 7)
  const read = /^(\d{4})-(\d{2})$/.exec(said)
  const [year, month] = [Number(read?.[1]), Number(read?.[2])]
  const first = read === null ? undefined : dayNumberOf(year, month, 1)
  const next = month === 12 ? dayNumberOf(year + 1, 1, 1) : dayNumberOf(year, month + 1, 1)
  if (first === undefined || next === undefined)
    throw new CalledWrongly(`--month ${said}: a month, such as 2026-12, was expected`)
  return [first, next - first]
}
