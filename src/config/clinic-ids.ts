import { nearestId } from '../flow/problem.ts'
import type { Clinic, Rung } from '../oncall/clinic.ts'
import type { PartReader, Path } from './part-reader.ts'

/** Checks of who is named where: ids that exist, people who can be reached and may answer. */

/** Ids that name nobody, and ids that name two. Read from the file, so that a person with a fault still counts as known. */
export function reportIds(reader: PartReader, rungs: readonly { key: number; value: Rung }[]): void {
  const people = reader.keys(['people'])
  const desks = reader.keys(['desks'])
  const roles = reader.keys(['rota'])
  const check = (path: Path, kind: string, section: string, valid: readonly string[]) => {
    const id = reader.valueAt(path)
    if (typeof id !== 'string' || valid.includes(id)) return
    const expected = `${kind} that stands under ${section}: correct the spelling or add it there`
    reader.report(path, 'UNKNOWN_ID', `"${id}"`, expected, { nearest: nearestId(id, valid) })
  }
  for (const id of desks) {
    if (people.includes(id))
      reader.report(['desks', id], 'DUPLICATE_ID', `"${id}" is a person and a desk`, 'an id of its own', { key: true })
  }
  for (const role of roles) {
    for (const day of reader.keys(['rota', role])) {
      for (let index = 0; index < reader.count(['rota', role, day]); index++) {
        check(['rota', role, day, index, 'who'], 'a person or desk', 'people or desks', [...people, ...desks])
      }
    }
  }
  for (let index = 0; index < reader.count(['changes']); index++) {
    check(['changes', index, 'who'], 'a person or desk', 'people or desks', [...people, ...desks])
    check(['changes', index, 'on-call'], 'a role', 'rota', roles)
  }
  for (let index = 0; index < reader.count(['swaps']); index++) {
    for (const key of ['of', 'to'])
      check(['swaps', index, key], 'a person or desk', 'people or desks', [...people, ...desks])
    for (const key of ['on-call', 'in-return-on-call']) check(['swaps', index, key], 'a role', 'rota', roles)
  }
  for (let index = 0; index < reader.count(['leave']); index++)
    check(['leave', index, 'who'], 'a person or desk', 'people or desks', [...people, ...desks])
  for (const { key, value } of rungs) {
    if (value.kind === 'role') check(['ladder', key, 'on-call'], 'a role', 'rota', roles)
    if (value.kind === 'person') check(['ladder', key, 'person'], 'a person', 'people', people)
    if (value.kind === 'desk') check(['ladder', key, 'desk'], 'a desk', 'desks', desks)
  }
  const used = new Set(rungs.flatMap(({ value }) => (value.kind === 'role' ? [value.role] : [])))
  for (const role of roles) {
    if (used.has(role)) continue
    reader.report(
      ['rota', role],
      'ROLE_UNUSED',
      `role "${role}" is on no rung`,
      'a rung { on-call: … } for it, or no such role',
      { key: true, severity: 'warning' },
    )
  }
}

/** People and desks nobody could reach, and people on call who may not answer families. */
export function reportReach(reader: PartReader, clinic: Clinic): void {
  for (const one of [...clinic.people, ...clinic.desks]) {
    const path = [one.kind === 'person' ? 'people' : 'desks', one.id]
    const listed = reader.count([...path, 'page-at'])
    if (listed === 0)
      reader.report(path, 'NOBODY_REACHED', `no page-at for "${one.id}"`, 'at least one way to page', { key: true })
    const boardOnly = listed > 0 && one.pageAt.length === listed && one.pageAt.every(({ pager }) => pager === 'board')
    if (one.kind === 'person' && boardOnly) {
      const expected = 'a second way: the board wakes nobody who is not looking at it'
      reader.report([...path, 'page-at'], 'BOARD_ONLY', `"${one.id}" is paged on the board alone`, expected, {
        severity: 'warning',
      })
    }
  }
  const notClinicians = new Set(clinic.people.filter(one => !one.clinician).map(one => one.id))
  const gone = new Set(clinic.people.filter(one => one.left === true).map(one => one.id))
  const check = (path: Path) => {
    const id = reader.valueAt(path)
    if (typeof id !== 'string') return
    if (notClinicians.has(id))
      reader.report(path, 'NOT_A_CLINICIAN', `"${id}" is on call`, 'a clinician: this person has clinician: no')
    if (gone.has(id))
      reader.report(path, 'HAS_LEFT', `"${id}" is on call`, 'somebody who is there: this person has left: yes')
  }
  for (const role of reader.keys(['rota'])) {
    for (const day of reader.keys(['rota', role])) {
      for (let index = 0; index < reader.count(['rota', role, day]); index++) check(['rota', role, day, index, 'who'])
    }
  }
  for (let index = 0; index < reader.count(['changes']); index++) check(['changes', index, 'who'])
  for (let index = 0; index < reader.count(['swaps']); index++) {
    check(['swaps', index, 'to'])
    if (reader.valueAt(['swaps', index, 'in-return']) !== undefined) check(['swaps', index, 'of'])
  }
  for (let index = 0; index < reader.count(['ladder']); index++) check(['ladder', index, 'person'])
  for (const { id, clinician, approves, roles = [] } of clinic.people) {
    if (roles.includes('on-call') && !clinician)
      reader.report(
        ['people', id, 'roles'],
        'NOT_A_CLINICIAN',
        `"${id}" has the role on-call`,
        'a clinician: this person has clinician: no, and may answer no family',
      )
    if (approves === true && !roles.includes('lead'))
      reader.report(
        ['people', id, 'roles'],
        'APPROVES_WITHOUT_LEAD',
        `"${id}" approves without the role lead`,
        'lead among the roles: what a family is told is approved by clinic leads',
      )
    if (approves === true && !clinician)
      reader.report(
        ['people', id, 'approves'],
        'NOT_A_CLINICIAN',
        `"${id}" approves`,
        'a clinician: this person has clinician: no',
      )
  }
}
