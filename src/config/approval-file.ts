import { z } from 'zod'
import { checkShape, readYaml } from '../flow/yaml-places.ts'
import type { Instant } from '../time/instant.ts'
import { type Refusal, refusalOf } from './guard.ts'

/** A file of approvals: lines are added, never changed. */

/** What an approval is of: where the steps lead and what decides, the words, or both. */
export const SCOPES = ['steps', 'words'] as const
export type ApprovalScope = (typeof SCOPES)[number]

export interface Approval {
  /** Id of the person. */
  readonly by: string
  readonly at: Instant
  readonly hash: string
  /** Languages the person has read it in. */
  readonly languages: readonly string[]
  /** The end of it; left out: it has none. */
  readonly until?: Instant
  readonly of: readonly ApprovalScope[]
  readonly line: number
}

/** Somebody's word that a content must not be served: every approval of it from before no longer counts. */
export interface Withdrawal {
  readonly by: string
  readonly at: Instant
  readonly hash: string
  readonly why: string
  readonly line: number
}

const instantExpected = 'an instant in UTC, like 2026-03-01T07:10:00.000Z'
const hashExpected = 'the full hash: 64 hexadecimal digits'
const instantShape = z.iso.datetime({ error: instantExpected }).transform(said => Date.parse(said) as Instant)
const hashShape = z.string({ error: hashExpected }).regex(/^[0-9a-f]{64}$/, { error: hashExpected })
const personShape = z.string({ error: 'the id of a person' })
const approvalShape = z.strictObject(
  {
    by: personShape,
    at: instantShape,
    hash: hashShape,
    languages: z.array(z.string(), { error: 'a list of languages, like [en]' }),
    until: instantShape.optional(),
    of: z.array(z.enum(SCOPES, { error: `one of: ${SCOPES.join(', ')}` }), { error: 'a list: [words]' }).optional(),
  },
  { error: 'an approval: by, at, hash, languages' },
)
const withdrawalShape = z.strictObject(
  { by: personShape, at: instantShape, withdraws: hashShape, why: z.string({ error: 'the reason, in words' }) },
  { error: 'a withdrawal: by, at, withdraws, why' },
)
const isWithdrawal = (one: unknown): boolean => typeof one === 'object' && one !== null && 'withdraws' in one
/** A line of either kind is told what is wrong with it as what it is. */
const lineShape = z.unknown().transform((one, context) => {
  const read = isWithdrawal(one) ? withdrawalShape.safeParse(one) : approvalShape.safeParse(one)
  if (read.success) return read.data
  for (const issue of read.error.issues) context.addIssue({ ...issue, path: [...issue.path] } as never)
  return z.NEVER
})
const linesShape = z.array(lineShape, { error: 'a list of approvals, as "smallhours approve" writes it' })

/** Reads a file of approvals; absent text is none. A file that is not wholly right counts for nothing. */
export function readApprovals(
  file: string,
  text: string | undefined,
): {
  readonly approvals: readonly Approval[]
  readonly withdrawals: readonly Withdrawal[]
  readonly refusals: readonly Refusal[]
} {
  if (text === undefined) return { approvals: [], withdrawals: [], refusals: [] }
  const { yaml, problems } = readYaml(file, text)
  const shaped = yaml === undefined ? { problems } : checkShape(yaml, linesShape)
  if (yaml === undefined || shaped.problems.length > 0 || !('value' in shaped) || shaped.value === undefined) {
    const todo = `put the file back as it was committed, or remove it and approve again; nothing in it counts`
    return {
      approvals: [],
      withdrawals: [],
      refusals: shaped.problems.map(one => ({ ...refusalOf(one), guard: 'approvals', todo })),
    }
  }
  const lines = shaped.value.map((one, index) => ({ ...one, line: yaml.place([index]).line }))
  return {
    approvals: lines.flatMap(one => ('hash' in one ? [approvalOf(one)] : [])),
    withdrawals: lines.flatMap(one => ('withdraws' in one ? [{ ...one, hash: one.withdraws }] : [])),
    refusals: [],
  }
}

function approvalOf({ until, of, ...rest }: z.infer<typeof approvalShape> & { line: number }): Approval {
  return { ...rest, of: of ?? SCOPES, ...(until === undefined ? {} : { until }) }
}
