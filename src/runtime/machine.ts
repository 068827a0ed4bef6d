import type { Effect } from '../case/effect.ts'
import type { CaseEvent, Clinician } from '../case/event.ts'
import type { ChatRef, Part } from '../case/message.ts'
import type { Instant } from '../time/instant.ts'
import type { ParkedWhy } from './parking.ts'
import type { LineNews } from './watch-pages.ts'

/** What the runtime reads of a case; the rest is the machine's own. Must survive JSON. */
export interface RunningCase {
  readonly caseId: string
  readonly chat: ChatRef
  /** Spoken code: "Sun 4719". */
  readonly code: string
  readonly concern: string
  readonly closed: boolean
  /** What a clinician said came of it: the case is settled and is closed later. */
  readonly outcome?: unknown
  /** A clinician has stopped every word to this family. */
  readonly doNotWrite?: boolean
  readonly nickname?: string | undefined
  /** Language the family is written to in; left out: the first of the clinic's. */
  readonly language?: string | undefined
  readonly open?:
    | {
        readonly serial: number
        readonly fact: string
        readonly askedAt: Instant
        readonly readBack?: unknown
      }
    | undefined
  /** Alarms as the case knows them; where absent, the store's rows alone are trusted. */
  readonly alarms?: Readonly<Record<string, { readonly due: Instant }>>
}

export interface Opening {
  readonly caseId: string
  readonly chat: ChatRef
  readonly at: Instant
  readonly concern: string
  /** Spoken code, from `codeOf`. */
  readonly code: string
  /** Questions are numbered from the next one on, so that no two cases of a chat ask under the same number. */
  readonly serialAfter: number
  readonly nickname?: string | undefined
  readonly language?: string | undefined
}

export type Reply = Effect & { readonly kind: 'reply' }
export type PageEffect = Effect & { readonly kind: 'page' }

/**
 * The pure part of the bot, as the runtime needs it: bound to one set of flows, one clinic, its settings. Every method is
 * free of side effects; `parse`, `openCase` and `step` throw when something that cannot be true is.
 */
export interface Machine {
  /** Concerns that have a flow, the first the most usual. */
  readonly concerns: ReadonlySet<string>
  /** Languages families may use, the first the default. */
  readonly languages: readonly string[]
  /** Those that have a flow worded in a language. */
  concernsIn(language: string): ReadonlySet<string>
  /** A spoken code for a case opened at `at`; `random4` is 0 to 9999, drawn. */
  codeOf(random4: number, at: Instant): string
  openCase(opening: Opening): RunningCase
  parse(json: string): RunningCase
  step(
    state: RunningCase,
    event: CaseEvent,
    at: Instant,
  ): { readonly state: RunningCase; readonly effects: readonly Effect[] }
  /** Who has the case now, by acknowledgement; undefined while it is anybody's, also after a promise was broken. */
  holderOf(state: RunningCase): Clinician | undefined
  renderReply(state: RunningCase, effect: Reply, at: Instant, extra: { readonly repeated: boolean }): readonly Part[]
  /** Instants after `at` that a reply of this case may name: once one has passed, its text is worked out anew. */
  timesAhead(state: RunningCase, at: Instant): readonly Instant[]
  /** Pieces of a page's text, most urgent first. */
  renderPage(state: RunningCase, effect: PageEffect, at: Instant): readonly string[]
  /** Fixed words with the numbers to ring, for whenever anything is in doubt. Needs no case; without a language, in each. */
  fallbackParts(at: Instant, language?: string): readonly Part[]
  /** Pieces of the page about the line itself, when it cannot keep messages and when it can again. Names no family. */
  linePage(news: LineNews): readonly string[]
  /** Pieces of the page that says a case cannot go on by itself. Needs no readable case. */
  parkedPage(given: { readonly code?: string; readonly why: ParkedWhy; readonly at: Instant }): readonly string[]
}

/** Id of the part by which a repeated reply says that it is one. */
export const REPEAT_LABEL = 'repeat-label'
