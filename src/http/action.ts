import type { Clinician, Disposition, Doing } from '../case/event.ts'
import { DISPOSITIONS } from '../flow/document.ts'
import { type Instant, instant } from '../time/instant.ts'

/** What a clinician can do on a case's page. Free text stays as written. */
export type ClinicianAction =
  | { readonly kind: 'take'; readonly doing: Doing }
  | { readonly kind: 'pass-on' }
  | { readonly kind: 'spoken' }
  | { readonly kind: 'write'; readonly text: string }
  | { readonly kind: 'quick-line'; readonly id: string }
  | { readonly kind: 'lower'; readonly to: Disposition; readonly reason: string }
  | { readonly kind: 'stop-alarm'; readonly name: string }
  | { readonly kind: 'outcome'; readonly outcome: string; readonly note?: string; readonly doNotWrite: boolean }
  /** Nothing happens in the case: it is reviewed when its month is. */
  | { readonly kind: 'flag' }

/** How an action went. */
export type Acted =
  | { readonly kind: 'done' }
  /** Someone else has the case; nothing was changed. */
  | { readonly kind: 'taken-by'; readonly name: string; readonly at: Instant }
  /** Not possible now; `why` is final text for the clinician. Nothing was changed. */
  | { readonly kind: 'refused'; readonly why: string }

/** Who acts, and the key that makes the same press twice one action. */
export interface ActedBy {
  readonly by: Clinician
  readonly deliveryId: string
}

/** Why a post is no action; each is a wording id. */
export type NoAction =
  | 'clinic-time-passed'
  | 'clinic-empty'
  | 'clinic-reason-missing'
  | 'clinic-choose'
  | 'clinic-unreadable'

/** Least and most a promised call may lie ahead, in ms (both inclusive). */
const PROMISE_LEAST_MS = 60_000
const PROMISE_MOST_MS = 6 * 3_600_000
/** Longest note or message, in UTF-16 units (inclusive). */
const TEXT_LENGTH_MAX = 4_000

/** Dispositions milder than `from`; all but the first when there is none yet. */
export function milderThan(from: Disposition | undefined): readonly Disposition[] {
  return DISPOSITIONS.slice(from === undefined ? 1 : DISPOSITIONS.indexOf(from) + 1)
}

/** Reads an action from the fields of a post; `at` is now. */
export function actionOf(fields: ReadonlyMap<string, readonly string[]>, at: Instant): ClinicianAction | NoAction {
  const field = (name: string): string => (fields.get(name)?.[0] ?? '').trim().slice(0, TEXT_LENGTH_MAX)
  switch (field('do')) {
    case 'ringing-now':
      return { kind: 'take', doing: { kind: 'ringing-now' } }
    case 'ringing-by':
      return ringingBy(field('by'), at)
    case 'go-in':
      return { kind: 'take', doing: { kind: 'go-in' } }
    case 'pass-on':
      return { kind: 'pass-on' }
    case 'spoken':
      return { kind: 'spoken' }
    case 'write':
      return field('text') === '' ? 'clinic-empty' : { kind: 'write', text: field('text') }
    case 'quick-line':
      return field('id') === '' ? 'clinic-choose' : { kind: 'quick-line', id: field('id') }
    case 'lower':
      return lower(field('to'), field('reason'))
    case 'stop-alarm':
      return field('name') === '' ? 'clinic-unreadable' : { kind: 'stop-alarm', name: field('name') }
    case 'flag':
      return { kind: 'flag' }
    case 'outcome':
      return outcome(field('outcome'), field('note'), fields.has('do-not-write'))
    default:
      return 'clinic-unreadable'
  }
}

/** A page left open for a while offers clock times that have passed: those are asked again, never taken. */
function ringingBy(by: string, at: Instant): ClinicianAction | NoAction {
  if (!/^\d{1,15}$/.test(by)) return 'clinic-unreadable'
  const ahead = Number(by) - at
  if (ahead < PROMISE_LEAST_MS) return 'clinic-time-passed'
  if (ahead > PROMISE_MOST_MS) return 'clinic-unreadable'
  return { kind: 'take', doing: { kind: 'ringing-by', by: instant(Number(by)) } }
}

function lower(to: string, reason: string): ClinicianAction | NoAction {
  const disposition = DISPOSITIONS.find(d => d === to)
  if (disposition === undefined) return 'clinic-choose'
  return reason === '' ? 'clinic-reason-missing' : { kind: 'lower', to: disposition, reason }
}

function outcome(id: string, note: string, doNotWrite: boolean): ClinicianAction | NoAction {
  if (id === '') return 'clinic-choose'
  return { kind: 'outcome', outcome: id, ...(note === '' ? {} : { note }), doNotWrite }
}
