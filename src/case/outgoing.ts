/** What one step sends: one reply to the family, and pages as they stand at its end. */
import type { Effect, Saying } from './effect.ts'
import type { Work } from './work.ts'

/** One reply: what is taken back, what is urgent, the rest, and last the one question that is still open. */
export function replyOf(work: Work): Effect | undefined {
  if (work.state.doNotWrite) return undefined
  const { stops, urgent, rest } = work
  if (stops.length + urgent.length + rest.length === 0) return undefined
  const said = stops.length + urgent.length === 0 ? rest : [...stops, ...urgent, ...rest]
  const replaced = replacedBy(work, said)
  const parts: Saying[] = []
  const seen = new Set<string>()
  let question: Saying | undefined
  for (const part of said) {
    if (part.kind === 'ask' || part.kind === 'read-back') {
      if (part.serial === work.state.open?.serial) question = part
      continue
    }
    if (part.kind === 'say' && replaced.includes(part.id)) continue
    const key = part.kind === 'say' ? part.id : JSON.stringify(part)
    if (seen.has(key)) continue
    seen.add(key)
    parts.push(part)
  }
  const closing = closingOf(work, parts)
  if (closing !== undefined) parts.push(closing)
  const audible = parts.some(part => part.kind === 'clinician' || tagsOf(work, part).length > 0)
  if (question !== undefined) parts.push(question)
  if (parts.length === 0) return undefined
  return {
    kind: 'reply',
    parts,
    audible,
    ...(work.state.before === undefined ? {} : { concern: work.state.concern }),
    ...(work.late === undefined ? {} : { late: work.late }),
  }
}

const NOTHING: readonly string[] = []

/** Ids of advice that other advice of this reply stands in place of. */
function replacedBy({ flow }: Work, said: readonly Saying[]): readonly string[] {
  let replaced = NOTHING
  for (const part of said) {
    const also = part.kind === 'say' ? flow.advice.get(part.id)?.['in-place-of'] : undefined
    if (also !== undefined) replaced = [...replaced, ...also]
  }
  return replaced
}

/** Tags of advice; a notice has none. */
const tagsOf = (work: Work, part: Saying): readonly string[] =>
  part.kind === 'say' ? (work.flow.advice.get(part.id)?.tags ?? NOTHING) : NOTHING

/** Whatever asks for an act ends with whom to ring if it gets worse, also when a correction left out the flow's own line. */
function closingOf(work: Work, words: readonly Saying[]): Saying | undefined {
  const { closing } = work.flow
  if (closing === undefined) return undefined
  let isAct = false
  for (const part of words) {
    const tags = tagsOf(work, part)
    if (tags.includes('call-emergency')) return undefined
    if (tags.length > 0) isAct = true
  }
  return isAct ? { kind: 'say', id: closing } : undefined
}

/** Pages of one step as they stand at its end: none carries an urgency that was raised after it, no update doubles a page. */
export function pagesSettled(work: Work): Effect[] {
  const { urgency, reason } = work.state.callout
  if (work.effects.length === 0) return []
  const settled = work.effects.map(effect => (effect.kind === 'page' ? { ...effect, urgency, reason } : effect))
  return settled.filter((effect, index) => {
    if (effect.kind !== 'page' || effect.why !== 'update') return true
    const others = settled.filter(
      (other, at) =>
        other.kind === 'page' &&
        other.to === effect.to &&
        (other.why !== 'update' ? other.why !== 'taken' : at > index),
    )
    return others.length === 0
  })
}
