import type { DatabaseSync } from 'node:sqlite'

/** A message as its channel names it. */
interface Delivery {
  readonly channel: string
  readonly deliveryId: string
}

/** Deliveries that were taken. The caller holds the transaction. */
export interface DeliveryRows {
  /** Writes it down; false when it stands there already. */
  add(delivery: Delivery): boolean
  /** Takes back what was written in this transaction. */
  remove(delivery: Delivery): void
}

export function deliveryRows(db: DatabaseSync): DeliveryRows {
  const sql = {
    add: db.prepare('INSERT INTO delivery (delivery_id, channel) VALUES (?, ?) ON CONFLICT DO NOTHING'),
    remove: db.prepare('DELETE FROM delivery WHERE delivery_id = ? AND channel = ?'),
  }
  return {
    add: ({ deliveryId, channel }) => sql.add.run(deliveryId, channel).changes > 0,
    remove: ({ deliveryId, channel }) => {
      sql.remove.run(deliveryId, channel)
    },
  }
}
