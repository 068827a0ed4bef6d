import type { Instant } from '../time/instant.ts'

/** Where a conversation is held: the channel's id and the channel's own id of the chat. Together they are unique. */
export interface ChatRef {
  readonly channel: string
  readonly chat: string
}

/** What a caregiver did, free of any channel. */
export interface Incoming extends ChatRef {
  /** Unique within the channel; the same delivery twice is one message. */
  readonly deliveryId: string
  /** When it reached us. */
  readonly at: Instant
  /** When the caregiver made it, where the channel knows (made without signal); never later than `at`. */
  readonly madeAt?: Instant
  /**
   * Why nothing in it counts as an answer, where the channel knows: an earlier message changed afterwards, somebody else's
   * words passed on, words under a picture. Danger and the wish for a person are heard all the same.
   */
  readonly noAnswer?: 'edited' | 'forwarded' | 'media'
  /** Language of the screen it was made on, where the channel knows: what a first message is taken to be in, unless its words say otherwise. */
  readonly language?: string
  readonly body:
    | { readonly kind: 'text'; readonly text: string }
    /** A tapped choice; `serial` is the question's, `values` the ids tapped (`not-sure` for "Not sure"). */
    | { readonly kind: 'choice'; readonly serial: number; readonly values: readonly string[] }
    /** A control that is no answer: see `Control`. */
    | { readonly kind: 'control'; readonly control: Control; readonly subject?: string }
    /** A photo, voice message, sticker: never decides anything. */
    | {
        readonly kind: 'media'
        readonly media: string
        /** A photo that the clinic lets families send, kept already: its id. */
        readonly kept?: string
      }
}

/** Things a family may do at any moment, each a button of the channel. */
export const CONTROLS = [
  'person', // I want to talk to a person
  'wrong-tap', // the danger sign was a wrong tap
  'they-rang', // the clinician rang me
  'cannot-travel', // we can't get there
  'change', // change an earlier answer; subject = the fact id
  'new-child', // this is about another child
  'show-handover', // show this at the desk
  'start', // begin, or say again where we are
  'language', // go on in another language; subject = its tag
] as const

export type Control = (typeof CONTROLS)[number]

/** One thing the bot or a clinician says. Text is final: filled, in the family's language. */
export type Part =
  /** Approved advice; `tags` from domain vocabulary. Shown as a numbered line, set apart. */
  | {
      readonly kind: 'advice'
      readonly id: string
      readonly text: string
      readonly tags: readonly string[]
      /** Where it is in another language than the rest. */
      readonly language?: string
      readonly drawing?: Drawing
    }
  /** Words that ask for no act (thanks, status, read-back). */
  | { readonly kind: 'notice'; readonly id: string; readonly text: string }
  /** Advice taken back: "Stop: …". Shown first. */
  | { readonly kind: 'withdrawn'; readonly id: string; readonly text: string; readonly tags: readonly string[] }
  /** A clinician's own words, quoted, with name and role. */
  | { readonly kind: 'person'; readonly name: string; readonly role: string; readonly text: string }
  | Question

/** A drawing that shows how, and the same in words for whoever does not see it. */
export interface Drawing {
  /** File under flows/shared/drawings/<id>.svg. */
  readonly id: string
  readonly text: string
}

/** The one open question. */
export interface Question {
  readonly kind: 'question'
  /** Grows by one with each asking in a case; an answer to another serial is stale. */
  readonly serial: number
  /** The fact the answer fills. */
  readonly fact: string
  readonly text: string
  readonly drawing?: Drawing
  /** Why it is asked, at most eight words. */
  readonly why?: string
  /** "about N more". */
  readonly more?: number
  readonly options: readonly Option[]
  /** True where several options may be tapped before "Done" (never for danger signs). */
  readonly several: boolean
  /** What typed words are read as, beside the options' own words. */
  readonly accepts: 'words' | 'moment' | 'date' | 'duration' | 'number' | 'phone'
}

export interface Option {
  /** Value id; `not-sure` stands for "Not sure". */
  readonly value: string
  readonly label: string
  /** Apart from the others, at the end ("None of these", "Not sure"). */
  readonly apart?: boolean
  /** Id of a drawing under flows/shared/drawings/<id>.svg. */
  readonly drawing?: string
}

/** One reply to one chat: what one step said, in order. */
export interface Outgoing extends ChatRef {
  readonly caseId: string
  /** Case id + event number + position; the same id twice is the same message. */
  readonly effectId: string
  /** The instant the text was worked out for. */
  readonly at: Instant
  readonly parts: readonly Part[]
  /** Language of the parts, where the case has one of its own; absent: the line's first. */
  readonly language?: string
  /** True when an earlier sending may have arrived. */
  readonly repeated: boolean
  /** Whether it should make a sound at night: advice to act on, a clinician's words. */
  readonly audible: boolean
}
