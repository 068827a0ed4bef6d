import type { Pdu, ShortMessage } from 'smpp'

/** The status of whatever went well: ESME_ROK. */
export const OK = 0
/** Asks the centre to deliver again: ESME_RX_T_APPN. */
const COME_BACK = 0x64

/** A part of a longer text, as its header or its optional fields say. */
interface PartOf {
  readonly reference: number
  readonly count: number
  /** From 1 to `count`. */
  readonly number: number
}

/** The words of a message that came in; binary ones have none. */
function wordsOf({ message_payload: payload, short_message: short }: Pdu): string {
  const { message = '' }: ShortMessage = payload ?? short ?? {}
  return typeof message === 'string' ? message : ''
}

/** Which part it is; undefined where it stands alone, or where the header contradicts itself. */
function partOf(pdu: Pdu): PartOf | undefined {
  const [reference, count, number] = numbersOf(pdu)
  if (reference === undefined || count === undefined || number === undefined) return undefined
  return count > 1 && number >= 1 && number <= count ? { reference, count, number } : undefined
}

function numbersOf(pdu: Pdu): readonly (number | undefined)[] {
  for (const element of pdu.short_message?.udh ?? []) {
    if (element[0] === 0x00 && element.length === 5) return [element[2], element[3], element[4]]
    if (element[0] === 0x08 && element.length === 6) return [element.readUInt16BE(2), element[4], element[5]]
  }
  return [pdu.sar_msg_ref_num, pdu.sar_total_segments, pdu.sar_segment_seqnum]
}

/** Answers one part to the centre; false where the connection is gone. */
type Answer = (status: number) => boolean

/** A message that the centre takes for undelivered comes again within this time. */
const UNTOLD_MS = 600_000

export interface Joining {
  /** Takes one part, or a text that stands alone. */
  take(pdu: Pdu, answer: Answer): void
  /** Takes the texts that have begun as they are, and resolves once all are kept. */
  settled(): Promise<void>
}

/** Puts the parts of a text together, and answers each part once the whole is kept. */
export function joining(partsMs: number, onMessage: (from: string, text: string) => Promise<void>): Joining {
  interface Begun {
    readonly from: string
    readonly texts: Map<number, string>
    readonly answers: Answer[]
    readonly lateness: NodeJS.Timeout
  }
  const begun = new Map<string, Begun>()
  const keeping = new Set<Promise<void>>()
  /** Kept, but the centre could not be told: it will deliver them again. */
  const untold = new Set<string>()

  function keep(from: string, text: string, answers: readonly Answer[]): void {
    const key = `${from} ${text}`
    const kept = (untold.delete(key) ? Promise.resolve() : onMessage(from, text))
      .then(
        () => OK,
        () => COME_BACK,
      )
      .then(status => {
        const isTold = answers.map(answer => answer(status)).every(Boolean)
        if (!isTold && status === OK) {
          untold.add(key)
          setTimeout(() => untold.delete(key), UNTOLD_MS).unref()
        }
        keeping.delete(kept)
      })
    keeping.add(kept)
  }

  /** What is there, in order: a part that never comes must not hold back the others. */
  function end(key: string): void {
    const one = begun.get(key)
    if (one === undefined) return
    begun.delete(key)
    clearTimeout(one.lateness)
    const inOrder = [...one.texts].toSorted(([a], [b]) => a - b).map(([, text]) => text)
    keep(one.from, inOrder.join(''), one.answers)
  }

  return {
    take(pdu: Pdu, answer: Answer): void {
      const from = numberOf(pdu)
      const part = partOf(pdu)
      if (part === undefined) {
        keep(from, wordsOf(pdu), [answer])
        return
      }
      const key = `${from} ${part.reference} ${part.count}`
      const one = begun.get(key) ?? {
        from,
        texts: new Map<number, string>(),
        answers: [],
        lateness: setTimeout(() => end(key), partsMs),
      }
      begun.set(key, one)
      one.texts.set(part.number, wordsOf(pdu))
      one.answers.push(answer)
      if (one.texts.size === part.count) end(key)
    },
    async settled(): Promise<void> {
      for (const key of begun.keys()) end(key)
      await Promise.all(keeping)
    },
  }
}

/** The sender's number in E.164; a short number or a name as it is. */
function numberOf({ source_addr: address = '', source_addr_ton: type }: Pdu): string {
  return type === 1 && /^\d/.test(address) ? `+${address}` : address
}
