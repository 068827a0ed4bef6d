import { nearestId } from '../flow/problem.ts'
import type { Clinic, Person } from '../oncall/clinic.ts'
import { days, type Instant } from '../time/instant.ts'
import { type Approval, readApprovals } from './approval-file.ts'
import type { Refusal } from './guard.ts'

/**
 * Approvals by named clinicians. An approval is for one exact content, told by its SHA-256: when one character of the
 * content changes, the hash changes and the approval no longer counts. It is kept and shown as withdrawn.
 */

/** Clinicians who must have approved the same content. */
export const APPROVALS_NEEDED = 2

/** A content that needs approval: a flow, the words beside flows, or the clinic's settings. */
export interface Subject {
  /** A flow's concern, or `screens`, `lexicon`, `settings`. */
  readonly id: string
  /** 64 hexadecimal digits. */
  readonly hash: string
  /** Languages it is worded in; each needs two clinicians who read it. Empty where there are no words. */
  readonly languages: readonly string[]
}

/** How a subject stands. */
export interface Standing {
  readonly subject: Subject
  readonly isApproved: boolean
  /** Approvals that count, one a person, the earliest first. */
  readonly counted: readonly Approval[]
  /** Approvals of a content that is no longer there, or that somebody has withdrawn. */
  readonly withdrawn: readonly Approval[]
  readonly refusals: readonly Refusal[]
  /** Whether the file itself can be read; else none of it counts. */
  readonly isReadable: boolean
}

/**
 * Whether a subject is approved, and what of its approvals does not count and why.
 *
 * @param file  where its approvals stand; told in refusals
 */
export function standingOf(
  subject: Subject,
  file: string,
  text: string | undefined,
  clinic: Pick<Clinic, 'people'>,
  now: Instant,
): Standing {
  const { approvals, withdrawals, refusals } = readApprovals(file, text)
  const counted: Approval[] = []
  const withdrawn: Approval[] = []
  const found: Refusal[] = [...refusals]
  let hasExpired = false
  for (const approval of approvals.toSorted((a, b) => a.at - b.at)) {
    const fault = approvalFault(approval, clinic.people, now)
    const where = `${file}:${approval.line}:1`
    // Whoever withdraws takes the cautious side: it counts even from somebody who may not approve.
    const isWithdrawn = withdrawals.some(one => one.hash === approval.hash && one.at >= approval.at)
    if (fault !== undefined) found.push({ guard: 'approvals', where, severity: 'warning', ...fault })
    else if (approval.hash !== subject.hash || isWithdrawn) withdrawn.push(approval)
    else if (approval.until !== undefined && approval.until <= now) {
      hasExpired = true
      found.push(expired(approval, approval.until, where))
    } else if (counted.some(one => one.by === approval.by)) found.push(twice(approval, where))
    else counted.push(approval)
  }
  const lacking = lackingOf(subject, counted)
  const isApproved = lacking === undefined
  if (lacking !== undefined) found.unshift(notApproved(subject, file, { lacking, counted, withdrawn, hasExpired }))
  else found.push(...endingSoon(subject, file, counted, now))
  return { subject, isApproved, counted, withdrawn, refusals: found, isReadable: refusals.length === 0 }
}

/** How long before its end an approval is told. */
const TOLD_BEFORE = days(30)

function endingSoon({ id }: Subject, file: string, counted: readonly Approval[], now: Instant): readonly Refusal[] {
  const first = counted.flatMap(({ until }) => (until === undefined ? [] : [until])).toSorted((a, b) => a - b)[0]
  if (first === undefined || first > now + TOLD_BEFORE) return []
  return [
    {
      guard: 'approvals',
      code: 'APPROVAL_ENDS_SOON',
      where: file,
      found: `an approval of ${id} ends at ${new Date(first).toISOString()}`,
      expected: 'approvals that last longer than the next 30 days',
      todo: `have it read and approved again: smallhours approve ${id} --by ID`,
      severity: 'warning',
    },
  ]
}

const expired = ({ by }: Approval, until: Instant, where: string): Refusal => ({
  guard: 'approvals',
  code: 'APPROVAL_EXPIRED',
  where,
  found: `an approval by "${by}" that ended at ${new Date(until).toISOString()}; it does not count`,
  expected: 'an approval that has not ended',
  todo: 'have it read and approved again',
  severity: 'warning',
})

/** Why an approval cannot count at all, whatever it is of. */
function approvalFault(
  { by, at }: Approval,
  people: readonly Person[],
  now: Instant,
): Pick<Refusal, 'code' | 'found' | 'expected' | 'todo'> | undefined {
  const person = people.find(one => one.id === by)
  if (person === undefined) {
    const nearest = nearestId(
      by,
      people.map(one => one.id),
    )
    return {
      code: 'APPROVAL_STRANGER',
      found: `an approval by "${by}", who does not stand under people; it does not count`,
      expected: `a person of the clinic file${nearest === undefined ? '' : ` (did you mean "${nearest}"?)`}`,
      todo: 'have another clinician approve; leave the line where it is, it is history',
    }
  }
  const fault = approverFault(person)
  if (fault !== undefined) return fault
  if (at <= now) return undefined
  return {
    code: 'APPROVAL_FUTURE',
    found: `an approval by "${by}" dated ${new Date(at).toISOString()}, which has not come yet; it does not count`,
    expected: 'an instant in the past',
    todo: 'look at the clock of this machine first; if it is right, have it approved again',
  }
}

/** Why a person may not approve; undefined where they may. */
export function approverFault(person: Person): Pick<Refusal, 'code' | 'found' | 'expected' | 'todo'> | undefined {
  if (person.left === true) {
    return {
      code: 'APPROVAL_LEFT',
      found: `an approval by "${person.id}", who has left the clinic; it does not count`,
      expected: 'a clinician who is there and can be asked',
      todo: 'have another clinician approve',
    }
  }
  if (person.clinician && person.approves === true) return undefined
  return {
    code: 'APPROVAL_WITHOUT_RIGHT',
    found: `an approval by "${person.id}", who may not approve; it does not count`,
    expected: 'a clinician with "approves: yes" in the clinic file',
    todo: 'have a clinician approve who may, or let the clinic decide that this one may',
  }
}

const twice = ({ by }: Approval, where: string): Refusal => ({
  guard: 'approvals',
  code: 'APPROVAL_TWICE',
  where,
  found: `a second approval by "${by}" of the same content; it counts once`,
  expected: 'two different people',
  todo: 'nothing, if two others have approved; else have a second clinician approve',
  severity: 'warning',
})

/** What is missing, in words; undefined where nothing is. */
function lackingOf({ languages }: Subject, counted: readonly Approval[]): string | undefined {
  if (counted.length < APPROVALS_NEEDED) return `${counted.length} of ${APPROVALS_NEEDED} approvals`
  const ofSteps = counted.filter(one => one.of.includes('steps')).length
  if (ofSteps < APPROVALS_NEEDED) return `${ofSteps} of ${APPROVALS_NEEDED} approvals of its steps`
  const readers = (language: string) =>
    counted.filter(one => one.of.includes('words') && one.languages.includes(language)).length
  const first = languages.find(language => readers(language) < APPROVALS_NEEDED)
  return first === undefined ? undefined : `${readers(first)} of ${APPROVALS_NEEDED} approvals by readers of "${first}"`
}

interface Lacking {
  readonly lacking: string
  readonly counted: readonly Approval[]
  readonly withdrawn: readonly Approval[]
  readonly hasExpired: boolean
}

function notApproved(
  { id, hash }: Subject,
  file: string,
  { lacking, counted, withdrawn, hasExpired }: Lacking,
): Refusal {
  const by = counted.length === 0 ? '' : ` (by ${counted.map(one => one.by).join(', ')})`
  const isSame = withdrawn.some(one => one.hash === hash)
  const before = isSame
    ? '; its approval was withdrawn'
    : withdrawn.length === 0
      ? ''
      : '; it has changed since it was approved'
  return {
    guard: 'approvals',
    code: 'NOT_APPROVED',
    where: file,
    found: `${id} (${hash.slice(0, 12)}) has ${lacking}${by}${before}`,
    expected: `${APPROVALS_NEEDED} different clinicians of the clinic file who approved exactly this`,
    todo: `read it with "smallhours approve ${id} --show", then each of two clinicians runs "smallhours approve ${id} --by ID"`,
    severity: 'refused',
    // That its time ran out is nobody's act: a line that served with it comes up again in the middle of a night.
    ...(hasExpired ? { isByTime: true } : {}),
  }
}
