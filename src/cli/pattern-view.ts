/** The week and the order of paging, as the clinic's file has them. */
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { readClinic } from '../config/clinic-file.ts'
import { roleText } from '../config/role-words.ts'
import type { Choice } from '../http/console/change-page.ts'
import type { PatternView } from '../http/console/pattern-page.ts'
import { peopleThere, type Rung, reachableOf } from '../oncall/clinic.ts'
import { rolesOf } from '../oncall/rota.ts'
import { weekdays } from '../oncall/wall-time.ts'
import type { Instant } from '../time/instant.ts'

export interface PatternSources {
  readonly line: Line
  readonly wording: Wording
  /** The clinic's file as it lies there. */
  readonly text: string
  readonly at: Instant
}

interface WrittenShift {
  readonly from?: unknown
  readonly to?: unknown
  readonly who?: unknown
  readonly every?: unknown
}

export function patternView(sources: PatternSources): PatternView {
  const { line, wording, text, at } = sources
  const { clinic } = line
  const file = readClinic('clinic.yaml', text, at).yaml?.value as { readonly rota?: unknown } | undefined
  const rota = (file?.rota ?? {}) as Readonly<Record<string, Readonly<Record<string, unknown>> | undefined>>
  return {
    ladder: clinic.ladder.map(rung => rungSaid(rung, sources)),
    roles: Object.entries(rota).map(([role, days]) => ({
      role: roleText(role, line.language),
      add: `/on-call/change/shift-new?${new URLSearchParams({ role }).toString()}`,
      shifts: [...weekdays, 'holiday'].flatMap(day => {
        const shifts = days?.[day]
        return Array.isArray(shifts)
          ? shifts.map((shift: WrittenShift, index) => shiftOf(role, day, index, shift, line, wording))
          : []
      }),
    })),
  }
}

function shiftOf(
  role: string,
  day: string,
  index: number,
  { from, to, who, every }: WrittenShift,
  { clinic }: Line,
  wording: Wording,
): PatternView['roles'][number]['shifts'][number] {
  const [starts, ends, id] = [String(from ?? ''), String(to ?? ''), String(who ?? '')]
  const name = reachableOf(clinic, id)?.name ?? id
  const label = wording(day === 'holiday' ? 'pattern-holiday' : `settings-day-${day}`)
  const said = wording('pattern-shift', { day: label, from: starts, until: ends, name })
  const weeks = every === undefined ? '' : ` ${wording('pattern-every', { count: Number(every) })}`
  const query = new URLSearchParams({ role, day, index: String(index), who: id, starts, ends })
  const out = new URLSearchParams({ role, day, index: String(index) })
  return {
    says: `${said}${weeks}`,
    change: `/on-call/change/weekly?${query.toString()}`,
    out: `/on-call/change/shift-out?${out.toString()}`,
  }
}

function rungSaid(rung: Rung, { line: { clinic, language }, wording }: PatternSources): string {
  const who =
    rung.kind === 'role'
      ? wording('pattern-on-call', { role: roleText(rung.role, language) })
      : (reachableOf(clinic, rung.id)?.name ?? rung.id)
  if (rung.when.kind === 'always') return who
  const time = (minute: number) =>
    `${String(Math.floor(minute / 60)).padStart(2, '0')}:${String(minute % 60).padStart(2, '0')}`
  const span = rung.when.kind === 'between' ? { from: time(rung.when.from), until: time(rung.when.to) } : {}
  return `${who}, ${wording(`pattern-when-${rung.when.kind}`, span)}`
}

/** Whom a rung may name. */
export function rungChoices({ clinic, language }: Line, wording: Wording): readonly Choice[] {
  return [
    ...rolesOf(clinic).map(role => ({
      value: `on-call ${role}`,
      label: wording('pattern-on-call', { role: roleText(role, language) }),
    })),
    ...peopleThere(clinic).map(({ id, name }) => ({ value: `person ${id}`, label: name })),
    ...clinic.desks.map(({ id, name }) => ({ value: `desk ${id}`, label: name })),
  ]
}

/** Days of the week, and holidays, that a shift may come back on. */
export const dayChoices = (wording: Wording): readonly Choice[] =>
  [...weekdays, 'holiday'].map(day => ({
    value: day,
    label: wording(day === 'holiday' ? 'pattern-holiday' : `settings-day-${day}`),
  }))
