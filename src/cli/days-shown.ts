/** Days of the rota as they are shown: each role, with who has it from when. */
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import { roleText } from '../config/role-words.ts'
import type { DayShown } from '../http/console/days-shown.ts'
import { reachableOf } from '../oncall/clinic.ts'
import type { Duty } from '../oncall/duty.ts'
import { stretches } from '../oncall/timeline.ts'
import { instantsOf, weekdayOf, weekdays } from '../oncall/wall-time.ts'

/**
 * @param first  local day, as all days here
 * @param by     what is being looked at: who stands there by something else is marked
 */
export function daysShown(
  line: Line,
  given: {
    readonly first: number
    readonly count: number
    readonly today: number
    readonly roles: readonly string[]
    readonly by?: Duty['by']
    readonly title?: Intl.DateTimeFormatOptions
  },
): readonly DayShown[] {
  const { clinic, language } = line
  const { first, count, today, roles, by, title = { weekday: 'short', day: 'numeric' } } = given
  return Array.from({ length: count }, (_one, index) => {
    const day = first + index
    const holiday = clinic.rota.holidays?.get(day)
    return {
      title: dayTitle(day, language, title),
      isToday: day === today,
      weekday: weekdays.indexOf(weekdayOf(day)) + 1,
      ...(holiday === undefined ? {} : { holiday }),
      roles: roles.map(role => ({ role: roleText(role, language), pieces: piecesOf(line, role, day, by) })),
    }
  })
}

/** A local day in words. */
export const dayTitle = (day: number, language: string, options: Intl.DateTimeFormatOptions): string =>
  new Intl.DateTimeFormat(language === 'en' ? 'en-GB' : language, { timeZone: 'UTC', ...options }).format(
    day * 86_400_000,
  )

function piecesOf(
  line: Line,
  role: string,
  day: number,
  by: Duty['by'] | undefined,
): DayShown['roles'][number]['pieces'] {
  const { clinic } = line
  const [from, until] = [day, day + 1].map(one => instantsOf(clinic.zone, { day: one, minute: 0 }).earlier)
  if (from === undefined || until === undefined) return []
  const isOther = (duty: Duty | undefined) => by !== undefined && duty !== undefined && duty.by !== by
  return stretches(clinic, role, from, until)
    .filter(({ duty }, index, all) => {
      const last = all[index - 1]?.duty
      return index === 0 || duty?.who !== last?.who || isOther(duty) !== isOther(last)
    })
    .map(({ from: starts, duty }) => ({
      from: starts <= from ? '' : clockOf(line, starts),
      ...(duty === undefined ? {} : { name: reachableOf(clinic, duty.who)?.name ?? duty.who }),
      ...(isOther(duty) ? { isOther: true } : {}),
    }))
}
