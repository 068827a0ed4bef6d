/** What one step sends: one reply to the family, and pages as they stand at its end. */
import type { Effect, Saying } from './effect.ts'
import type { Work } from './work.ts'

/** One reply: what is taken back, what is urgent, the rest, and last the one question that is still open. */
export function replyOf(work: Work): Effect | undefined {
  if (work.state.doNotWrite) return undefined
  const said = [...work.stops, ...work.urgent, ...work.rest]
  const isQuestion = (part: Saying) => part.kind === 'ask' || part.kind === 'read-back'
  const seen = new Set<string>()
  const replaced = new Set(
    said.flatMap(part => (part.kind === 'say' ? (work.flow.advice.get(part.id)?.['in-place-of'] ?? []) : [])),
  )
  const words = said.filter(part => {
    if (isQuestion(part) || (part.kind === 'say' && replaced.has(part.id))) return false
    const key = part.kind === 'say' && !('of' in part) ? part.id : JSON.stringify(part)
    if (seen.has(key)) return false
    seen.add(key)
    return true
  })
  const question = said
    .filter(part => isQuestion(part) && 'serial' in part && part.serial === work.state.open?.serial)
    .at(-1)
  const closing = closingOf(work, words)
  const parts = [...words, ...(closing === undefined ? [] : [closing]), ...(question === undefined ? [] : [question])]
  if (parts.length === 0) return undefined
  const acts = parts.some(
    part => part.kind === 'clinician' || (part.kind === 'say' && (work.flow.advice.get(part.id)?.tags.length ?? 0) > 0),
  )
  return {
    kind: 'reply',
    parts,
    audible: acts,
    ...(work.state.before === undefined ? {} : { concern: work.state.concern }),
    ...(work.late === undefined ? {} : { late: work.late }),
  }
}

/** Whatever asks for an act ends with whom to ring if it gets worse, also when a correction left out the flow's own line. */
function closingOf(work: Work, words: readonly Saying[]): Saying | undefined {
  const tags = words.flatMap(part => (part.kind === 'say' ? (work.flow.advice.get(part.id)?.tags ?? []) : []))
  const isNeeded = tags.length > 0 && !tags.includes('call-emergency') && work.flow.closing !== undefined
  return isNeeded && work.flow.closing !== undefined ? { kind: 'say', id: work.flow.closing } : undefined
}

/** Pages of one step as they stand at its end: none carries an urgency that was raised after it, no update doubles a page. */
export function pagesSettled(work: Work): Effect[] {
  const { urgency, reason } = work.state.callout
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
