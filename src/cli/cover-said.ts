/** What is doubtful about the cover, in words: nobody to page, one person alone, two at once. */
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { roleText } from '../config/role-words.ts'
import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { coverageOf } from '../oncall/coverage.ts'
import type { Instant } from '../time/instant.ts'
import { momentText } from './now-view.ts'

export interface CoverDoubt {
  readonly from: Instant
  readonly says: string
}

interface Said {
  readonly line: Line
  readonly wording: Wording
  readonly at: Instant
}

export function coverDoubts(
  { empty, single, overlaps }: ReturnType<typeof coverageOf>,
  clinic: Clinic,
  { line, wording, at }: Said,
): readonly CoverDoubt[] {
  const times = ({ from, until }: { readonly from: Instant; readonly until: Instant }) => ({
    from: momentText(line, from, at),
    until: momentText(line, until, at),
  })
  const name = (id: string) => reachableOf(clinic, id)?.name ?? id
  return [
    ...empty.map(one => ({ from: one.from, says: wording('on-call-empty', times(one)) })),
    ...single.map(one => ({ from: one.from, says: wording('on-call-single', { name: name(one.id), ...times(one) }) })),
    ...overlaps.map(one => ({
      from: one.from,
      says: wording('on-call-overlap', {
        role: roleText(one.role, line.language),
        name: name(one.pages),
        other: name(one.also),
        ...times(one),
      }),
    })),
  ]
}
