import type { Lane, NewOutboxRow, StepRecord } from '../../src/store/store.ts'
import { type Instant, instant } from '../../src/time/instant.ts'

/** An invented night: all instants of the store's tests are counted from here. */
export const night = instant(Date.UTC(2031, 2, 4, 1, 0))
/** The instant so many seconds into the night. */
export const at = (seconds: number): Instant => instant(night + seconds * 1000)

/** A step as the worker writes it, all defaults invented: `step('sun', 0, { closed: true })`. */
export function step(caseId: string, from: number, more: Partial<StepRecord> = {}): StepRecord {
  return {
    caseId,
    chat: { channel: 'web', chat: `chat of ${caseId}` },
    from,
    at: at(from),
    closed: false,
    state: JSON.stringify({ caseId, after: from + 1 }),
    event: JSON.stringify({ kind: 'greeted' }),
    effects: '[]',
    outbox: [],
    alarms: { set: [], cancel: [] },
    ...more,
  }
}

/** An outbox row due at the start of the night. */
export function row(effectId: string, queue: string, more: Partial<NewOutboxRow> = {}): NewOutboxRow {
  const lane: Lane = 'family'
  return { effectId, lane, queue, effect: JSON.stringify({ kind: 'reply', id: effectId }), notBefore: night, ...more }
}

export const alarms = (
  set: Readonly<Record<string, Instant>>,
  cancel: readonly string[] = [],
): StepRecord['alarms'] => ({
  set: Object.entries(set).map(([name, due]) => ({ name, due })),
  cancel,
})
