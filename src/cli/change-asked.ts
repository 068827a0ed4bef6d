/** What the fields of a form ask for, as an edit of the clinic's file. */
import type { ClinicEdit } from '../config/clinic-edits.ts'
import type { ChangeAsked } from '../http/console/change-routes.ts'
import { dayNumberOf, type WallTime } from '../oncall/wall-time.ts'

/** The edit that a form asks for; undefined where a field does not hold what it should. A calendar is no field: see clinic-changes.ts. */
export function editOf({ kind, values }: ChangeAsked): ClinicEdit | undefined {
  const { who = '', role = '', number = '', to = '', section = '', line = '', id = '', value = '' } = values
  const why = values.why === undefined || values.why === '' ? {} : { why: values.why }
  switch (kind) {
    case 'cover': {
      const span = spanIn(values)
      return span === undefined || who === '' || role === '' ? undefined : { kind, role, who, ...span, ...why }
    }
    case 'leave': {
      const span = spanIn(values)
      return span === undefined || who === '' ? undefined : { kind, who, ...span, ...why }
    }
    case 'swap': {
      const shift = shiftIn(values.shift ?? '')
      const back = values['in-return'] ?? ''
      const inReturn = back === '' ? undefined : shiftIn(back)
      if (shift === undefined || to === '' || (back !== '' && inReturn === undefined)) return undefined
      const { role: of, starts, who: from } = shift
      return {
        ...{ kind, role: of, starts, of: from, to, ...why },
        ...(inReturn === undefined ? {} : { inReturn: { role: inReturn.role, starts: inReturn.starts } }),
      }
    }
    case 'setting':
      return id === '' || value === '' ? undefined : { kind, id, value }
    case 'hours':
      return value === '' ? undefined : { kind, day: values.day ?? '', value }
    case 'date':
      return value === '' || wallIn(`${values.date ?? ''}T00:00`) === undefined
        ? undefined
        : { kind, day: values.date ?? '', value }
    case 'retention':
      return value === '' ? undefined : { kind, value }
    case 'hospital':
      return id === '' || number === '' ? undefined : { kind: 'hospital-number', hospital: id, number }
    case 'families-number': {
      const which = (['emergency', 'families-ring', 'transport'] as const).find(each => each === values.which)
      return which === undefined || number === '' ? undefined : { kind, which, number }
    }
    case 'number':
      return who === '' || number === '' ? undefined : { kind: 'private-number', who, number }
    case 'weekly': {
      const shift = placeIn(values.index)
      if (shift === undefined || role === '' || who === '') return undefined
      return { kind, role, day: values.day ?? '', shift, who, from: values.starts ?? '', to: values.ends ?? '' }
    }
    case 'rung': {
      const rung = placeIn(values.rung)
      const act = (['earlier', 'out'] as const).find(each => each === values.act)
      return rung === undefined || act === undefined ? undefined : { kind, rung, act }
    }
    case 'rung-new': {
      const [names, named] = (values.names ?? '').split(' ')
      const what = (['on-call', 'person', 'desk'] as const).find(each => each === names)
      const when = whenIn(values)
      return what === undefined || named === undefined || when === undefined
        ? undefined
        : { kind, names: what, id: named, when }
    }
    case 'shift-new':
      return role === '' || who === '' || values.day === undefined
        ? undefined
        : { kind, role, day: values.day, who, from: values.starts ?? '', to: values.ends ?? '' }
    case 'shift-out': {
      const shift = placeIn(values.index)
      return role === '' || shift === undefined ? undefined : { kind, role, day: values.day ?? '', shift }
    }
    case 'role-new':
      return who === '' || (values.name ?? '') === ''
        ? undefined
        : { kind, role: roleIn(values.name ?? ''), who, from: values.starts ?? '', to: values.ends ?? '' }
    case 'calendar':
      return undefined
    case 'calendar-stop':
    case 'calendar-out':
      return role === '' ? undefined : { kind, role }
    case 'take-back': {
      const at = placeIn(line)
      const part = (['changes', 'swaps', 'leave'] as const).find(each => each === section)
      return at === undefined || part === undefined ? undefined : { kind, section: part, line: at }
    }
  }
}

/** When a rung is used, as the file writes it; undefined where its two times are missing. */
function whenIn(values: ChangeAsked['values']): string | undefined {
  if (values.when !== 'between') return values.when ?? 'always'
  const [from, until] = [values['when-from'] ?? '', values['when-until'] ?? '']
  return from === '' || until === '' ? undefined : `${from}-${until}`
}

/** "Third line" as an id of the file: `third-line`. */
const roleIn = (name: string): string =>
  name
    .normalize('NFD')
    .toLowerCase()
    .replace(/[\u0300-\u036f]/g, '')
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-+|-+$/g, '')

/** A place in a list of the file, from 0. */
const placeIn = (said: string | undefined): number | undefined =>
  /^\d{1,4}$/.test(said ?? '') ? Number(said) : undefined

function spanIn(values: ChangeAsked['values']): { readonly from: WallTime; readonly until: WallTime } | undefined {
  const [from, until] = [wallIn(values.from ?? ''), wallIn(values.until ?? '')]
  return from === undefined || until === undefined ? undefined : { from, until }
}

/** `2026-03-01T18:00`, as a browser's field for local times has it. */
export function wallIn(said: string): WallTime | undefined {
  const parts = /^(\d{4})-(\d{2})-(\d{2})[T ](\d{2}):(\d{2})/.exec(said)?.slice(1).map(Number)
  const [year = 0, month = 0, date = 0, hour = 99, minute = 99] = parts ?? []
  const day = dayNumberOf(year, month, date)
  return day === undefined || hour > 23 || minute > 59 ? undefined : { day, minute: hour * 60 + minute }
}

/** The value of a shift in a list: role, who has it, and when it starts. */
export const shiftValue = (role: string, who: string, starts: string): string => `${role} ${who} ${starts}`

function shiftIn(said: string): { readonly role: string; readonly who: string; readonly starts: WallTime } | undefined {
  const [role = '', who = '', at = ''] = said.split(' ')
  const starts = wallIn(at)
  return starts === undefined || role === '' || who === '' ? undefined : { role, who, starts }
}
