import type { CallOutHappening } from './call-outs.ts'
import type { ReadLine } from './family-page.ts'
import { type Broken, type Decided, ownWordsOnly, type Post } from './promises.ts'
import type { PageReceived } from './receivers.ts'
import type { WebPhone } from './web-phone.ts'

/** One phone's chat with the bot: its cases one after the other. */
export interface Chat {
  readonly id: number
  readonly family: number
  readonly caregiver: string
  /** Draws the same script again. */
  readonly seed: string
  /** A word that only this chat ever says. */
  readonly planted: string
  readonly phone: WebPhone
  readonly posts: Post[]
  /** Codes of its cases, as they stood on its page. */
  readonly codes: Set<string>
  /** What happened, a line each, for whoever has to find a fault. */
  readonly transcript: string[]
  decided: readonly Decided[]
}

/** A clinician's own words that the bot took. */
export interface Written {
  readonly code: string
  readonly planted: string
  readonly at: number
}

/** Everything that was seen from outside during a run. */
export interface Ledger {
  readonly chats: Chat[]
  readonly pages: PageReceived[]
  readonly happenings: CallOutHappening[]
  readonly written: Written[]
  readonly broken: Broken[]
  /** Counts by name, for the table. */
  readonly counts: Map<string, number>
  count(name: string, by?: number): void
  /** Whether a planted word may be read in a chat. */
  isOwn(chat: Chat, planted: string): boolean
  plantedFor(code: string, planted: string): void
  /** Looks for words of other families in what one phone was sent. */
  look(chat: Chat, markup: string): void
  /** When pages of a chat's cases reached a receiver. */
  pagesOf(chat: Chat): number[]
  /** What the clinician lines of a log hold, against what was written. */
  clinicianWords(chat: Chat, lines: readonly ReadLine[]): Broken[]
}

/** How long what a clinician wrote may take until it stands in the log, in ms. */
const WRITTEN_MS = 5_000

export function newLedger(): Ledger {
  const codeOfPlanted = new Map<string, string>()
  const counts = new Map<string, number>()
  const self: Ledger = {
    chats: [],
    pages: [],
    happenings: [],
    written: [],
    broken: [],
    counts,
    count: (name, by = 1) => void counts.set(name, (counts.get(name) ?? 0) + by),
    isOwn: (chat, planted) => planted === chat.planted || chat.codes.has(codeOfPlanted.get(planted) ?? ''),
    plantedFor: (code, planted) => void codeOfPlanted.set(planted, code),
    look(chat, markup) {
      self.broken.push(...ownWordsOnly(markup, planted => self.isOwn(chat, planted), chat.id))
    },
    pagesOf: chat =>
      self.pages.filter(({ said }) => said !== undefined && chat.codes.has(said.code)).map(({ at }) => at),
    clinicianWords(chat, lines) {
      const text = lines.map(line => (line.who === 'clinician' ? line.text : '')).join('\n')
      return self.written
        .filter(({ code, at }) => chat.codes.has(code) && at < Date.now() - WRITTEN_MS)
        .flatMap(({ planted }) => {
          const times = text.split(planted).length - 1
          return times === 1
            ? []
            : [{ promise: 'clinician-words' as const, chat: chat.id, what: `${planted} stands there ${times} times` }]
        })
    },
  }
  return self
}
