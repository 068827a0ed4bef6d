import { type ContentChange, contentChanges } from '../flow/content-changes.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { approvedContent } from './approvals-folder.ts'
import type { standings } from './guards.ts'
import { approvedBefore } from './roll-back.ts'

type Stands = ReturnType<typeof standings>[number]

export interface ApprovedSince {
  readonly hash: string
  /** Ids of those who approved it. */
  readonly by: readonly string[]
  readonly changes: readonly ContentChange[]
}

/**
 * What is not as it was approved. A part that is not approved as a whole is held against the content that was, even where one
 * of two has approved the new one: the second reads the same changes as the first. Else against the latest content that
 * anybody approved and that was kept; undefined where there is none.
 */
export function approvedSince(
  { subject, isApproved, counted, withdrawn }: Stands,
  place: { readonly clinicDir: string; readonly clinic: Pick<Clinic, 'people'>; readonly at: Instant },
): ApprovedSince | undefined {
  const latest = [...counted, ...withdrawn].toSorted((a, b) => b.at - a.at)
  const others = latest.filter(({ hash }) => hash !== subject.hash)
  const whole = isApproved ? undefined : approvedBefore(subject, subject.hash, place)
  const wanted = [
    ...(whole === undefined ? [] : [whole]),
    ...(isApproved ? latest : [...others, ...latest]).map(({ by, hash }) => ({ hash, by: [by] })),
  ]
  for (const { hash, by } of wanted) {
    const text = approvedContent(place.clinicDir, hash)
    if (text !== undefined) return { hash, by, changes: contentChanges(JSON.parse(text), JSON.parse(subject.text)) }
  }
  return undefined
}
