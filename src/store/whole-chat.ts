import type { ChatRef } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'
import type { Content, NewOutboxRow, OutboxRow, StoredCase } from './store.ts'

/** Everything a store holds of one chat, to be carried into another, as it is sealed. */
export interface WholeChat {
  readonly chat: ChatRef
  /** In the order they were opened. */
  readonly cases: readonly WholeCase[]
}

export interface WholeCase extends Omit<StoredCase<Content>, 'chat'> {
  readonly alarms: readonly { readonly name: string; readonly due: Instant }[]
  readonly steps: readonly WholeStep[]
}

export interface WholeStep {
  /** Among the steps of its chat: what was put out earlier has less. */
  readonly order: number
  readonly at: Instant
  readonly event: Content
  readonly effects: Content
  readonly rows: readonly WholeRow[]
}

/** A row as it stands; one that was leased is free again, and says whether it may have arrived. */
export type WholeRow = NewOutboxRow<Content> &
  Pick<OutboxRow<Content>, 'tries' | 'content' | 'renderedAt' | 'status' | 'reason' | 'outcomeUnknown'> & {
    readonly settledAt?: Instant
  }

export interface Delivery {
  readonly channel: string
  readonly deliveryId: string
}

/** A store of which everything can be carried into another, chat by chat. Each chat is read and written in one piece. */
export interface Movable {
  chats(): Promise<readonly ChatRef[]>
  take(chat: ChatRef): Promise<WholeChat>
  /** False, and nothing written, where a case of the chat is there already. */
  put(chat: WholeChat): Promise<boolean>
  deliveries(): Promise<readonly Delivery[]>
  putDeliveries(deliveries: readonly Delivery[]): Promise<void>
  close(): Promise<void>
}

/** Steps of all cases of a chat in the order in which they put things out. */
export const stepsInOrder = ({
  cases,
}: WholeChat): readonly { readonly of: WholeCase; readonly seq: number; readonly step: WholeStep }[] =>
  cases
    .flatMap(of => of.steps.map((step, index) => ({ of, seq: index + 1, step })))
    .sort((a, b) => a.step.order - b.step.order || a.of.changedAt - b.of.changedAt || a.seq - b.seq)

/**
 * Carries everything over. Run again after it was cut off, it goes on: what is there is left. Deliveries go first, so that a
 * message that comes again never counts twice.
 *
 * @param told  how many chats were carried, how many were there, how many in all
 */
export async function carryOver(
  from: Movable,
  into: Movable,
  told: (carried: number, there: number, all: number) => void,
): Promise<{ readonly chats: number; readonly carried: number; readonly cases: number }> {
  await into.putDeliveries(await from.deliveries())
  const chats = await from.chats()
  let carried = 0
  let cases = 0
  for (const [index, chat] of chats.entries()) {
    const whole = await from.take(chat)
    cases += whole.cases.length
    if (await into.put(whole)) carried += 1
    if ((index + 1) % 1_000 === 0 || index + 1 === chats.length) told(carried, index + 1 - carried, chats.length)
  }
  return { chats: chats.length, carried, cases }
}
