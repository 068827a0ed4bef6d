import { z } from 'zod'
import { nearestId } from '../flow/problem.ts'
import { checkShape, readYaml } from '../flow/yaml-places.ts'
import type { Clinic, Person } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { type Refusal, refusalOf } from './guard.ts'

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

export interface Approval {
  /** Id of the person. */
  readonly by: string
  readonly at: Instant
  readonly hash: string
  /** Languages the person has read it in. */
  readonly languages: readonly string[]
  readonly line: number
}

/** How a subject stands. */
export interface Standing {
  readonly subject: Subject
  readonly isApproved: boolean
  /** Approvals that count, one a person, the earliest first. */
  readonly counted: readonly Approval[]
  /** Approvals of a content that is no longer there. */
  readonly withdrawn: readonly Approval[]
  readonly refusals: readonly Refusal[]
  /** Whether the file itself can be read; else none of it counts. */
  readonly isReadable: boolean
}

const instantExpected = 'an instant in UTC, like 2026-03-01T07:10:00.000Z'
const hashExpected = 'the full hash: 64 hexadecimal digits'
const approvalsShape = z.array(
  z.strictObject(
    {
      by: z.string({ error: 'the id of a person' }),
      at: z.iso.datetime({ error: instantExpected }),
      hash: z.string({ error: hashExpected }).regex(/^[0-9a-f]{64}$/, { error: hashExpected }),
      languages: z.array(z.string(), { error: 'a list of languages, like [en]' }),
    },
    { error: 'an approval: by, at, hash, languages' },
  ),
  { error: 'a list of approvals, as "smallhours approve" writes it' },
)

/** Reads a file of approvals; absent text is none. A file that is not wholly right counts for nothing. */
export function readApprovals(
  file: string,
  text: string | undefined,
): { readonly approvals: readonly Approval[]; readonly refusals: readonly Refusal[] } {
  if (text === undefined) return { approvals: [], refusals: [] }
  const { yaml, problems } = readYaml(file, text)
  const shaped = yaml === undefined ? { problems } : checkShape(yaml, approvalsShape)
  if (yaml === undefined || shaped.problems.length > 0 || !('value' in shaped) || shaped.value === undefined) {
    const todo = `put the file back as it was committed, or remove it and approve again; nothing in it counts`
    return { approvals: [], refusals: shaped.problems.map(one => ({ ...refusalOf(one), guard: 'approvals', todo })) }
  }
  const approvals = shaped.value.map((one, index) => ({
    ...one,
    at: Date.parse(one.at) as Instant,
    line: yaml.place([index]).line,
  }))
  return { approvals, refusals: [] }
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
  const { approvals, refusals } = readApprovals(file, text)
  const counted: Approval[] = []
  const withdrawn: Approval[] = []
  const found: Refusal[] = [...refusals]
  for (const approval of approvals.toSorted((a, b) => a.at - b.at)) {
    const fault = approvalFault(approval, clinic.people, now)
    const where = `${file}:${approval.line}:1`
    if (fault !== undefined) found.push({ guard: 'approvals', where, severity: 'warning', ...fault })
    else if (approval.hash !== subject.hash) withdrawn.push(approval)
    else if (counted.some(one => one.by === approval.by)) found.push(twice(approval, where))
    else counted.push(approval)
  }
  const lacking = lackingOf(subject, counted)
  const isApproved = lacking === undefined
  if (lacking !== undefined) found.unshift(notApproved(subject, file, lacking, counted, withdrawn))
  return { subject, isApproved, counted, withdrawn, refusals: found, isReadable: refusals.length === 0 }
}

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
  const few = languages
    .map(language => ({ language, count: counted.filter(one => one.languages.includes(language)).length }))
    .filter(({ count }) => count < APPROVALS_NEEDED)
  if (counted.length < APPROVALS_NEEDED) return `${counted.length} of ${APPROVALS_NEEDED} approvals`
  const [first] = few
  return first === undefined
    ? undefined
    : `${first.count} of ${APPROVALS_NEEDED} approvals by readers of "${first.language}"`
}

function notApproved(
  { id, hash }: Subject,
  file: string,
  lacking: string,
  counted: readonly Approval[],
  withdrawn: readonly Approval[],
): Refusal {
  const by = counted.length === 0 ? '' : ` (by ${counted.map(one => one.by).join(', ')})`
  const before = withdrawn.length === 0 ? '' : '; it has changed since it was approved'
  return {
    guard: 'approvals',
    code: 'NOT_APPROVED',
    where: file,
    found: `${id} (${hash.slice(0, 12)}) has ${lacking}${by}${before}`,
    expected: `${APPROVALS_NEEDED} different clinicians of the clinic file who approved exactly this`,
    todo: `read it with "smallhours approve ${id} --show", then each of two clinicians runs "smallhours approve ${id} --by ID"`,
    severity: 'refused',
  }
}
