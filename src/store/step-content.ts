import type { StepRecord } from './store.ts'

/** What a step holds beside the state. */
export interface StepContent {
  readonly event: string
  readonly effects: string
  /** Effects of its outbox rows by their ids. */
  readonly outbox: ReadonlyMap<string, string>
}

/** The texts of a step one after the other, behind a line of JSON that says how long each is, and whose. */
export function stepText({ event, effects, outbox }: StepRecord): string {
  const lengths = [event.length, effects.length, ...outbox.flatMap(row => [row.effectId, row.effect.length])]
  return `${JSON.stringify(lengths)}\n${event}${effects}${outbox.map(row => row.effect).join('')}`
}

/** The reverse. What comes here was sealed by `stepText`: nothing else opens. */
export function stepContentIn(text: string): StepContent {
  let from = text.indexOf('\n') + 1
  const [eventLength, effectsLength, ...rows] = JSON.parse(text.slice(0, from)) as [number, number, ...unknown[]]
  const next = (length: number): string => {
    from += length
    return text.slice(from - length, from)
  }
  const [event, effects] = [next(eventLength), next(effectsLength)]
  const outbox = new Map<string, string>()
  for (let index = 0; index < rows.length; index += 2) outbox.set(String(rows[index]), next(Number(rows[index + 1])))
  return { event, effects, outbox }
}
