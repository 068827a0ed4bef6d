import type { Answer } from '../../src/case/answer.ts'
import type { Effect } from '../../src/case/effect.ts'
import type { CaseEvent, Clinician, Doing, InLanguage } from '../../src/case/event.ts'
import type { Line } from '../../src/case/line.ts'
import type { Part } from '../../src/case/message.ts'
import { renderPage, renderReply } from '../../src/case/render.ts'
import { type CaseState, openCase } from '../../src/case/state.ts'
import { step } from '../../src/case/step.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { aLine, NIGHT } from './a-line.ts'

export type Reply = Effect & { kind: 'reply' }
export type Page = Effect & { kind: 'page' }

/** An answer in few words: a value, several values, "unsure", or the answer itself. */
export type Said = string | readonly string[] | Answer

export const AMARA: Clinician = { id: 'amara', name: 'Amara Osei', role: 'feeding nurse' }
export const MIN = 60_000

/** A moment between so many minutes before `NIGHT`. */
export const minutesAgo = (atLeast: number, atMost = atLeast): Answer => ({
  kind: 'moment',
  earliest: instant(NIGHT - atMost * MIN),
  latest: instant(NIGHT - atLeast * MIN),
})
export const weeksAgo = (weeks: number): Answer => minutesAgo(weeks * 7 * 24 * 60)
export const takes = (minutes: number): Answer => ({
  kind: 'length',
  atLeastMs: minutes * MIN,
  atMostMs: minutes * MIN,
})
export const phone: Answer = { kind: 'phone', number: '+12125550142' }

/** One case by hand: events in, effects written down, alarms fired only as its own effects set them. */
export interface CaseTalk {
  state: CaseState
  now: Instant
  /** Effects of the latest event. */
  effects: readonly Effect[]
  readonly log: { readonly event: CaseEvent; readonly at: Instant; readonly effects: readonly Effect[] }[]
  /** What the store would hold. */
  readonly alarms: Map<string, Instant>
  does(event: CaseEvent & InLanguage): CaseTalk
  /** Opens the case; `facts` is what the first message or the record says. */
  says(facts?: Readonly<Record<string, Said>>, danger?: readonly string[]): CaseTalk
  /** Answers the open question, which must be this one. */
  answers(fact: string, said: Said): CaseTalk
  /** Answers each question that opens as listed; stops at one that is not. */
  answersAll(answers: Readonly<Record<string, Said>>): CaseTalk
  /** Changes an earlier answer. */
  corrects(fact: string, said: Said): CaseTalk
  /** Time passes; alarms fire at their moment, in order. */
  waits(minutes: number): CaseTalk
  takes(doing?: Doing, by?: Clinician): CaseTalk
  asked(): string | undefined
  /** Ids said in the latest reply, in order: advice and notices, `stop:` and the id, `ask:` and the fact. */
  said(): string[]
  /** The latest reply as a family reads it. */
  parts(): Part[]
  replies(): { readonly at: Instant; readonly reply: Reply }[]
  pages(): { readonly at: Instant; readonly page: Page }[]
  /** Pieces of one page as they leave. */
  pageText(page: Page): string[]
}

export function answerOf(line: Line, fact: string, said: Said): Answer {
  if (typeof said === 'object' && 'kind' in said) return said
  if (said === 'unsure') return { kind: 'unsure' }
  if (line.flows.facts[fact]?.kind === 'many') return { kind: 'many', values: [said].flat() as string[] }
  return { kind: 'choice', value: String(said) }
}

export const isReply = (effect: Effect): effect is Reply => effect.kind === 'reply'
export const isPage = (effect: Effect): effect is Page => effect.kind === 'page'

export function saidIn(reply: Reply | undefined): string[] {
  return (reply?.parts ?? []).map(part => {
    if (part.kind === 'ask' || part.kind === 'read-back') return `ask:${part.fact}`
    if (part.kind === 'stop') return `stop:${part.id}`
    if (part.kind === 'both') return `both:${part.fact}`
    if (part.kind === 'noted') return `noted:${part.fact}`
    if (part.kind === 'heard') return `heard:${part.answers.map(({ fact }) => fact).join('+')}`
    if (part.kind === 'foreign') return `foreign:${part.language}`
    return part.kind === 'misread' ? `misread:${part.reason}` : part.kind === 'clinician' ? part.text : part.id
  })
}

export function aTalk(line: Line = aLine(), concern = 'tube-out'): CaseTalk {
  const talk: CaseTalk = {
    state: openCase(line, {
      caseId: 'case-1',
      chat: { channel: 'web', chat: 'family-1' },
      at: NIGHT,
      code: 'Sun 4719',
      concern,
    }),
    now: NIGHT,
    effects: [],
    log: [],
    alarms: new Map(),
    does(event) {
      const { state, effects } = step(line, talk.state, event, talk.now)
      for (const effect of effects) {
        if (effect.kind === 'setAlarm') talk.alarms.set(effect.name, effect.due)
        if (effect.kind === 'cancelAlarm') talk.alarms.delete(effect.name)
      }
      talk.log.push({ event, at: talk.now, effects })
      return Object.assign(talk, { state, effects })
    },
    says(facts = {}, danger) {
      const given = Object.fromEntries(Object.entries(facts).map(([fact, said]) => [fact, answerOf(line, fact, said)]))
      return talk.does({
        kind: 'caseOpened',
        concern,
        said: 'his tube is out',
        facts: given,
        ...(danger === undefined ? {} : { danger }),
      })
    },
    answers(fact, said) {
      const { open } = talk.state
      if (open?.fact !== fact) throw new Error(`"${open?.fact}" is open, not "${fact}"`)
      return talk.does({
        kind: 'answerGiven',
        serial: open.serial,
        fact,
        answer: answerOf(line, fact, said),
        said: 'as said',
      })
    },
    answersAll(answers) {
      for (let count = 0; count < 60; count++) {
        const fact = talk.asked()
        const said = fact === undefined ? undefined : answers[fact]
        if (fact === undefined || said === undefined) return talk
        talk.answers(fact, said)
      }
      throw new Error(`"${talk.asked()}" is asked again and again`)
    },
    corrects(fact, said) {
      return talk.does({ kind: 'changeWanted', fact }).answers(fact, said)
    },
    waits(minutes) {
      const until = instant(talk.now + minutes * MIN)
      for (let count = 0; count < 500; count++) {
        const [name, due] = [...talk.alarms].sort((a, b) => a[1] - b[1])[0] ?? []
        if (name === undefined || due === undefined || due > until) {
          talk.now = until
          return talk
        }
        talk.alarms.delete(name)
        if (due > talk.now) talk.now = due
        talk.does({ kind: 'alarmDue', name, due })
      }
      throw new Error('alarms go round in a circle')
    },
    takes(doing = { kind: 'ringing-by', by: instant(talk.now + 15 * MIN) }, by = AMARA) {
      return talk.does({ kind: 'pageAcknowledged', by, doing })
    },
    asked: () => talk.state.open?.fact,
    said: () => saidIn(talk.effects.find(isReply)),
    parts() {
      const reply = talk.effects.find(isReply)
      return reply === undefined ? [] : renderReply(line, talk.state, reply, talk.now, { repeated: false })
    },
    replies: () => talk.log.flatMap(({ at, effects }) => effects.filter(isReply).map(reply => ({ at, reply }))),
    pages: () => talk.log.flatMap(({ at, effects }) => effects.filter(isPage).map(page => ({ at, page }))),
    pageText: page => renderPage(line, talk.state, page, talk.now),
  }
  return talk
}

/** A plain night: balloon tube out for twenty minutes, half an hour from hospital, told to go. */
export const PLAIN: Readonly<Record<string, Said>> = {
  'in-opening': 'nothing',
  'danger-signs': ['none'],
  device: 'balloon-long',
  'out-since': minutesAgo(15, 20),
  travel: takes(20),
  'ring-back': phone,
  'first-placed': weeksAgo(30),
  'fasting-risk': ['none'],
  'critical-medicine-due': 'no',
  replaced: 'not-tried',
  'tube-found': 'yes',
  'pain-or-bleeding': 'no',
  'changed-before': 'yes',
  'feed-running': 'no',
}
