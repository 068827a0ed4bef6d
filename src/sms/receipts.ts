import type { Pdu } from 'smpp'

/** What became of a text message at the telephone, as the telephone company tells it later. */
export type Receipt = 'delivered' | 'lost'

/** SMPP 3.4 section 5.2.12: a delivery receipt, told by bits 2 to 5 of the message's class. */
const IS_RECEIPT = 0x04
const MESSAGE_TYPES = 0x3c

/** SMPP 3.4 table 5-15 and appendix B. What is under way or not known is no outcome: another receipt may follow. */
const BY_STATE = new Map<number, Receipt>([
  [2, 'delivered'],
  [3, 'lost'],
  [4, 'lost'],
  [5, 'lost'],
  [8, 'lost'],
])
const BY_WORD = new Map<string, Receipt>([
  ['DELIVRD', 'delivered'],
  ['EXPIRED', 'lost'],
  ['DELETED', 'lost'],
  ['UNDELIV', 'lost'],
  ['REJECTD', 'lost'],
])

export const isReceipt = ({ esm_class: kind = 0 }: Pdu): boolean => (kind & MESSAGE_TYPES) === IS_RECEIPT

/** The message a receipt is about, and what became of it; from the optional fields, else from its words (appendix B). */
export function receiptIn(pdu: Pdu): { readonly id: string; readonly outcome: Receipt } | undefined {
  const words = String(pdu.short_message?.message ?? '')
  const id = pdu.receipted_message_id ?? /\bid:\s*(\S+)/i.exec(words)?.[1]
  const outcome =
    (pdu.message_state === undefined ? undefined : BY_STATE.get(pdu.message_state)) ??
    BY_WORD.get(/\bstat:\s*([A-Z]+)/i.exec(words)?.[1]?.toUpperCase() ?? '')
  return id === undefined || outcome === undefined ? undefined : { id: plain(id), outcome }
}

/** Texts whose receipts are waited for, at most; the oldest is then waited for no more. */
const WAITED_MOST = 1_000
/** Receipts that came before the answer that names their message. */
const EARLY_MOST = 200

/** A text whose receipts are waited for. */
export interface WaitedText {
  /** What the text was, as whoever sent it knows it. */
  readonly about: string
  /** Ids of its parts that nothing is known of yet. */
  readonly left: readonly string[]
}

/** Where the texts that are waited for are kept: a receipt may come days later, to another process. */
export interface WaitedTexts {
  read(): readonly WaitedText[]
  write(texts: readonly WaitedText[]): void
}

export function waitedInMemory(): WaitedTexts {
  let texts: readonly WaitedText[] = []
  return {
    read: () => texts,
    write(next) {
      texts = next
    },
  }
}

export interface ReceiptBook {
  /** All parts of a text were taken under these ids. */
  expect(ids: readonly string[], about: string): Promise<void>
  /** Rejects where it could not be told: the receipt must come again. */
  take(id: string, outcome: Receipt): Promise<void>
}

/** Tells once what became of each text: lost with its first lost part, delivered with its last delivered one. */
export function receiptBook(
  told: (about: string, outcome: Receipt) => Promise<void>,
  waited: WaitedTexts = waitedInMemory(),
): ReceiptBook {
  const early = new Map<string, Receipt>()
  const telling = new Set<string>()

  async function take(said: string, outcome: Receipt): Promise<void> {
    const id = plain(said)
    const text = waited.read().find(({ left }) => left.includes(id))
    if (text === undefined) {
      bounded(early, id, outcome, EARLY_MOST)
      return
    }
    const left = text.left.filter(one => one !== id)
    const isTold = outcome === 'lost' || left.length === 0
    // It is told before it is forgotten: a process that ends in between is told again.
    if (isTold) {
      if (telling.has(text.about)) return
      telling.add(text.about)
      await told(text.about, outcome).finally(() => telling.delete(text.about))
    }
    const others = waited.read().filter(({ about }) => about !== text.about)
    waited.write(isTold ? others : [...others, { ...text, left }])
  }

  return {
    async expect(said, about) {
      const ids = said.map(plain)
      const others = waited.read().filter(one => one.about !== about)
      waited.write([...others, { about, left: ids }].slice(-WAITED_MOST))
      for (const id of ids) {
        const outcome = early.get(id)
        early.delete(id)
        if (outcome !== undefined) await take(id, outcome)
      }
    },
    take,
  }
}

/** Some centres fill ids with zeros in one place and not in the other. */
const plain = (id: string): string => id.toLowerCase().replace(/^0+(?=.)/, '')

function bounded<Value>(map: Map<string, Value>, key: string, value: Value, most: number): void {
  map.delete(key)
  map.set(key, value)
  const [oldest] = map.keys()
  if (map.size > most && oldest !== undefined) map.delete(oldest)
}
