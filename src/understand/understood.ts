/** What a message may mean, and what has to be known to say so. */
import type { Answer } from '../case/answer.ts'
import type { Misread } from '../case/event.ts'
import type { Question } from '../case/message.ts'
import type { FactDocument } from '../flow/document.ts'
import type { Instant } from '../time/instant.ts'
import type { Between } from '../time/span.ts'
import type { Lexicon } from './lexicon.ts'
import type { TimeContext, TimeReader } from './moment.ts'
import type { Region } from './quantity.ts'

export type Understood =
  | { readonly kind: 'answer'; readonly answer: Answer; readonly said: string; readonly readBack?: Between }
  | { readonly kind: 'read-back'; readonly right: boolean; readonly said: string }
  /** Signs by id, in the lexicon's order; at least one. */
  | {
      readonly kind: 'danger'
      readonly signs: readonly string[]
      /** What the words are about beside, most urgent first: its steps follow the emergency text. Absent for a tap. */
      readonly concerns?: readonly string[]
      readonly said: string
    }
  | { readonly kind: 'person'; readonly said: string }
  /** Words of despair or of harming: a person at once, with the words, and the clinic's crisis number. */
  | { readonly kind: 'despair'; readonly said: string }
  | { readonly kind: 'cannot-travel'; readonly said: string }
  /** `said` where it was written, not tapped. */
  | { readonly kind: 'they-rang'; readonly said?: string }
  | { readonly kind: 'wrong-tap'; readonly said?: string }
  | { readonly kind: 'left' | 'arrived'; readonly said: string }
  /**
   * What a message is about, most urgent first (may be empty), and what it already answers. `readBacks` names the
   * facts whose typed time is to be read back before anything milder rests on it.
   */
  | {
      readonly kind: 'concern'
      readonly concerns: readonly string[]
      readonly facts: Readonly<Record<string, Answer>>
      readonly readBacks: Readonly<Record<string, Between>>
      readonly said: string
      /** The first message names a trouble and asks for a person: its steps are said, and a person is paged. */
      readonly person?: true
      /** Names no trouble, and says that the child is not well or that something is badly wrong. */
      readonly distress?: true
      /** Thanks, good night and the like, and nothing else: asks for nothing. */
      readonly small?: true
      /** Says that it is over, that the child rests, or that help has come, and asks for nothing. */
      readonly news?: true
    }
  | { readonly kind: 'misread'; readonly reason: Misread; readonly said: string }
  /** A photo kept for the clinician, by its id. */
  | { readonly kind: 'photo-kept'; readonly photo: string }
  /** The label of an answer to another question than the open one. */
  | { readonly kind: 'fact'; readonly fact: string; readonly answer: Answer; readonly said: string }
  /** `said` where words took the earlier answer back, instead of a tap on *Change*. */
  | { readonly kind: 'change'; readonly fact: string; readonly said?: string }
  /** A control that only the channel's page or the case's address needs: start, another child, show the handover, another language. */
  | { readonly kind: 'control'; readonly control: 'language' | 'start' | 'new-child' | 'show-handover' }

/** What a message means, and the telephone number written beside that. */
export type Heard = Understood & { readonly phone?: string }

export interface UnderstandContext {
  /** The open question, when there is one. */
  readonly question?: Question
  /** The document of the fact the question fills. */
  readonly fact?: FactDocument & { readonly id: string }
  /** True when the open question is "So … Is that right?". */
  readonly readBack?: boolean
  /** Earlier answers by fact: words that take one back open its question again. */
  readonly answers?: Readonly<Record<string, Answer>>
  /** The fact that is asked, where the words are read for what they are about and not as its answer. */
  readonly askedBeside?: string
  /** Label of a value of what was tapped, where that is an earlier question than the open one, or "Is that right?". */
  readonly tappedLabel?: (value: string) => string | undefined
  /** Labels of the answers to all other questions of the flow. */
  readonly otherLabels?: readonly string[]
  /** Those among them that are the whole answer to a question of the flow. */
  readonly otherAnswers?: readonly OtherAnswer[]
  readonly lexicon: Lexicon
  /** The earlier of when the message was made and when it arrived. */
  readonly at: Instant
  /** IANA zone of the family's clock. */
  readonly zone: string
  /** Where a telephone number without a country code is rung from. */
  readonly defaultRegion: Region
  readonly times: TimeReader
}

/** A button of another question than the open one. */
export interface OtherAnswer {
  readonly fact: string
  readonly value: string
  readonly label: string
}

export const timeContextOf = (context: UnderstandContext): TimeContext => ({
  at: context.at,
  zone: context.zone,
  language: context.lexicon.language,
})
