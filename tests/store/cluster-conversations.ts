import type { RedisStore } from '../../src/store/redis/redis-store.ts'
import { alarms, at, night, row, step } from './step-record.ts'

/** What was acknowledged of conversations, and how long families waited for it. */
export interface Acknowledged {
  /** Steps acknowledged, by case. */
  readonly steps: Map<string, number>
  /** Rows whose sending was acknowledged. */
  readonly sent: Set<string>
  /** Calls that were refused or got no answer in time, and were made again. */
  again: number
  longestMs: number
}

/**
 * Conversations side by side: each step commits an event, a row and an alarm; rows are claimed and settled meanwhile. What is
 * refused is tried again, as a channel does that was told that its message was not kept.
 */
export async function converse(
  store: RedisStore,
  count: number,
  steps: number,
  atOnce: number,
  told: (done: number, all: number) => void = () => undefined,
): Promise<Acknowledged> {
  let done = 0
  const found: Acknowledged = { steps: new Map(), sent: new Set(), again: 0, longestMs: 0 }
  let isTalking = true

  async function untilDone<T>(ask: () => Promise<T>): Promise<T> {
    const from = performance.now()
    for (;;) {
      try {
        const answer = await ask()
        found.longestMs = Math.max(found.longestMs, performance.now() - from)
        return answer
      } catch {
        found.again += 1
      }
    }
  }

  async function conversation(caseId: string): Promise<void> {
    for (let from = 0; from < steps; from += 1) {
      const one = step(caseId, from, {
        delivery: { channel: 'web', deliveryId: `${caseId}/${from}` },
        outbox: [row(`${caseId}/${from + 1}/0`, caseId)],
        alarms: alarms({ [`alarm ${from}`]: at(from) }),
      })
      const answer = await untilDone(() => store.commit(one))
      // After an error nobody knows whether it was written: then the second time is a duplicate.
      if (answer === 'conflict')
        throw new Error(`${caseId}: step ${from} conflicts, though nobody else writes this case`)
      found.steps.set(caseId, from + 1)
      done += 1
      told(done, count * steps)
    }
  }

  async function send(): Promise<void> {
    let tries = new Map<string, number>()
    while (isTalking || tries.size > 0) {
      const rows = await untilDone(() => store.claim('family', night, 3_600_000, 64))
      tries = new Map(rows.map(one => [one.effectId, one.tries]))
      await Promise.all(
        [...tries].map(async ([id, count]) => {
          await untilDone(() => store.settle(id, { kind: 'sent', at: at(1) }, count))
          found.sent.add(id)
        }),
      )
    }
  }

  const sending = send()
  const names = Array.from({ length: count }, (_, n) => `case-${n}`)
  const talk = async () => {
    for (let name = names.shift(); name !== undefined; name = names.shift()) await conversation(name)
  }
  await Promise.all(Array.from({ length: atOnce }, talk))
  isTalking = false
  await sending
  return found
}

/** What of the acknowledged is not there, and what is there twice. */
export async function missing(store: RedisStore, { steps, sent }: Acknowledged) {
  let lost = 0
  let doubled = 0
  for (const [caseId, count] of steps) {
    const [stored, history, rows] = [
      await store.load(caseId),
      await store.history(caseId),
      await store.outboxOf(caseId),
    ]
    if (stored?.seq !== count || history.length !== count) lost += 1
    lost +=
      rows.filter(one => sent.has(one.effectId) && one.status !== 'sent').length + Math.max(0, count - rows.length)
    doubled += Math.max(0, rows.length - count) + rows.filter(one => one.tries > 1).length
  }
  const due = await store.due(at(9_999), 1_000_000)
  const wanted = [...steps.values()].reduce((sum, count) => sum + count, 0)
  return { lost: lost + Math.max(0, wanted - due.length), doubled: doubled + Math.max(0, due.length - wanted) }
}
