/** A clinician's press on the case page as an event of the case, and its outcome in words. */
import type { CaseEvent } from '../case/event.ts'
import { type Line, wordingOf } from '../case/line.ts'
import { parseState } from '../case/state.ts'
import type { Acted, ActedBy, ClinicianAction } from '../http/action.ts'
import { parkedOf } from '../runtime/parking.ts'
import type { Runtime } from '../runtime/runtime.ts'
import type { Store } from '../store/store.ts'
import { instant } from '../time/instant.ts'

export interface ActPorts {
  /** The line that a stored case is read with. */
  readonly lineOf: (state: string) => Line
  readonly store: Pick<Store, 'load'>
  readonly runtime: Pick<Runtime, 'act'>
  readonly wording: (id: string) => string
  /** Has a case reviewed; left out where nothing is reviewed. */
  readonly flag?: (caseId: string, by: string) => Promise<boolean>
}

export async function act(
  ports: ActPorts,
  caseId: string,
  { by, deliveryId }: ActedBy,
  action: ClinicianAction,
): Promise<Acted> {
  if (action.kind === 'flag') {
    const isKept = (await ports.flag?.(caseId, by.id)) === true
    return isKept ? { kind: 'done' } : { kind: 'refused', why: ports.wording('clinic-nothing') }
  }
  const event = await eventOf(ports, caseId, by, action)
  if (event === undefined) return { kind: 'refused', why: ports.wording('clinic-unreadable') }
  const applied = await ports.runtime.act(caseId, event, deliveryId)
  switch (applied.kind) {
    case 'done':
    case 'duplicate':
      return { kind: 'done' }
    case 'already-taken-by':
      return { kind: 'taken-by', name: applied.by.name, at: await takenAt(ports, caseId) }
    case 'closed':
      return { kind: 'refused', why: ports.wording('clinic-closed') }
    case 'nothing':
    case 'no-such-case':
      return { kind: 'refused', why: ports.wording('clinic-nothing') }
  }
}

async function eventOf(
  ports: ActPorts,
  caseId: string,
  by: ActedBy['by'],
  action: Exclude<ClinicianAction, { kind: 'flag' }>,
): Promise<CaseEvent | undefined> {
  switch (action.kind) {
    case 'take':
      return { kind: 'pageAcknowledged', by, doing: action.doing }
    case 'pass-on':
      return { kind: 'passedOn', by }
    case 'spoken':
      return { kind: 'callMade', by }
    case 'write':
      return { kind: 'clinicianWrote', by, text: action.text }
    case 'quick-line': {
      const text = await quickText(ports, caseId, action.id)
      return text === undefined ? undefined : { kind: 'clinicianWrote', by, text }
    }
    case 'lower':
      return { kind: 'dispositionLowered', by, to: action.to, reason: action.reason }
    case 'stop-alarm':
      return { kind: 'alarmStopped', by, name: action.name }
    case 'outcome':
      return {
        kind: 'outcomeSet',
        by,
        outcome: action.outcome,
        ...(action.note === undefined ? {} : { note: action.note }),
        doNotWrite: action.doNotWrite,
      }
  }
}

async function quickText({ lineOf, store }: ActPorts, caseId: string, id: string): Promise<string | undefined> {
  const stored = await store.load(caseId)
  if (stored === undefined || parkedOf(stored.state) !== undefined) return undefined
  const line = lineOf(stored.state)
  const wording = wordingOf(line, parseState(line, stored.state).concern)
  return wording.has(`quick/${id}`) ? wording.text(`quick/${id}`, { clinicName: line.clinic.name }) : undefined
}

async function takenAt({ lineOf, store }: ActPorts, caseId: string) {
  const stored = await store.load(caseId)
  const state =
    stored === undefined || parkedOf(stored.state) !== undefined
      ? undefined
      : parseState(lineOf(stored.state), stored.state)
  return state?.callout.taken?.at ?? stored?.changedAt ?? instant(0)
}
