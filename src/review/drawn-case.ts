/**
 * An invented family, its clinic's people and the time between, played through the real step: what they do is drawn, what the
 * line answers is the line's. Nothing of how a case ends is made up here.
 */
import type { Answer } from '../case/answer.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, Clinician } from '../case/event.ts'
import type { Line } from '../case/line.ts'
import { type CaseState, openCase } from '../case/state.ts'
import { step } from '../case/step.ts'
import type { FactDocument } from '../flow/document.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { CaseRecord, RecordStep } from './case-record.ts'

/** A number from 0, inclusive, to 1, exclusive, each time. */
export type Chance = () => number

export interface Invented {
  readonly caseId: string
  readonly family: string
  readonly channel: string
  readonly language: string
  readonly concern: string
  readonly openedAt: Instant
  /** Shares of 1: that a page is answered by whoever it goes to, and that one is not even delivered. */
  readonly answers: number
  readonly undelivered: number
  /** Minutes in which half of those who answer have. */
  readonly answersWithin: number
  /** When the line is down: what falls into it comes at its end. */
  readonly down?: { readonly from: Instant; readonly until: Instant }
}

/** Shares of 1, each invented; nothing clinical follows from them. */
const UNSURE = 0.09
const GIVES_UP = 0.025
const DANGER = 0.05
const MISREAD = 0.03
const NONE_TAPPED = 0.8
const CHANGES_MIND = 0.03
const RINGS = 0.93

const MINUTE = 60_000
const DAY = 86_400_000
const STEPS_MOST = 160
/** A record is followed for so long. */
const FOLLOWED_MS = 3 * DAY

interface Coming {
  readonly at: Instant
  /** Undefined where it no longer makes sense when it comes. */
  readonly event: (state: CaseState, at: Instant) => CaseEvent | undefined
}

export function drawnCase(line: Line, invented: Invented, chance: Chance): CaseRecord {
  const play = new Play(line, invented, chance)
  play.run()
  const { caseId, family, channel, concern, language, openedAt } = invented
  return {
    ...{ caseId, family, channel, concern, language, openedAt, serialAfter: 0 },
    closed: play.state.closed,
    steps: play.steps,
  }
}

class Play {
  readonly steps: RecordStep[] = []
  state: CaseState
  private now: Instant
  private readonly line: Line
  private readonly invented: Invented
  private readonly chance: Chance
  private readonly alarms = new Map<string, Instant>()
  private coming: Coming[] = []
  private hasGivenUp = false
  private isAnswered = false
  private serialHeard = 0

  constructor(line: Line, invented: Invented, chance: Chance) {
    const { caseId, family, channel, concern, language, openedAt } = invented
    this.line = line
    this.invented = invented
    this.chance = chance
    this.now = openedAt
    this.state = openCase(line, {
      ...{ caseId, chat: { channel, chat: family }, at: openedAt, code: '', concern, language },
    })
  }

  run(): void {
    const { down } = this.invented
    if (down !== undefined)
      this.coming.push({
        at: down.until,
        event: state => (state.closed ? undefined : { kind: 'resumed', downSince: down.from }),
      })
    this.take({ kind: 'caseOpened', concern: this.invented.concern })
    while (!this.state.closed && this.steps.length < STEPS_MOST) {
      const next = this.next()
      if (next === undefined || next.at > this.invented.openedAt + FOLLOWED_MS) return
      this.now = instant(Math.max(this.now, this.whenUp(next.at)))
      const event = next.event(this.state, this.now)
      if (event !== undefined) this.take(event)
    }
  }

  private whenUp(at: Instant): Instant {
    const { down } = this.invented
    return down !== undefined && at >= down.from && at < down.until ? down.until : at
  }

  /** Whatever comes first: an alarm of the line, or what somebody does. */
  private next(): Coming | undefined {
    const [name, due] = [...this.alarms].sort((a, b) => a[1] - b[1])[0] ?? []
    const acts = this.coming.sort((a, b) => a.at - b.at)
    const [first] = acts
    if (name !== undefined && due !== undefined && (first === undefined || due <= first.at)) {
      this.alarms.delete(name)
      return { at: due, event: () => ({ kind: 'alarmDue', name, due }) }
    }
    this.coming = acts.slice(1)
    return first
  }

  private take(event: CaseEvent): void {
    const { state, effects } = step(this.line, this.state, event, this.now)
    this.state = state
    this.steps.push({ at: this.now, event, effects })
    for (const effect of effects) {
      if (effect.kind === 'setAlarm' && effect.due < this.invented.openedAt + 2 * FOLLOWED_MS)
        this.alarms.set(effect.name, effect.due)
      if (effect.kind === 'cancelAlarm') this.alarms.delete(effect.name)
    }
    effects.forEach((effect, position) => {
      if (effect.kind === 'page') this.paged(effect, position)
    })
    this.family()
  }

  // ---- The family ----

  /** Reads the open question, and answers it some time later, or never again. */
  private family(): void {
    const { open } = this.state
    if (open === undefined || open.serial === this.serialHeard || this.hasGivenUp) return
    this.serialHeard = open.serial
    if (this.chance() < GIVES_UP) {
      this.hasGivenUp = true
      return
    }
    this.later(this.between(8, 75) * 1000, state => this.reply(state))
  }

  private reply(state: CaseState): CaseEvent | undefined {
    const { open } = state
    if (open === undefined) return undefined
    const { serial, fact } = open
    if (this.chance() < MISREAD) {
      this.serialHeard = 0
      return { kind: 'notUnderstood', reason: 'not-an-option', said: '' }
    }
    const earlier = Object.keys(state.answers).find(one => one !== fact && state.path.asked.includes(one))
    if (earlier !== undefined && this.chance() < CHANGES_MIND / 4) return { kind: 'changeWanted', fact: earlier }
    if (open.readBack !== undefined) return { kind: 'readBackAnswered', serial, right: true, said: '' }
    const document = this.line.flows.facts[fact]
    const answer = document === undefined ? ({ kind: 'unsure' } as const) : this.answer(fact, document)
    return { kind: 'answerGiven', serial, fact, answer, said: '' }
  }

  private answer(fact: string, document: FactDocument): Answer {
    if (document['act-at-once'] === true) return this.danger(document)
    if (document.kind !== 'phone' && this.chance() < UNSURE) return { kind: 'unsure' }
    const values = document.values ?? []
    switch (document.kind) {
      case 'choice':
        return { kind: 'choice', value: this.choice(fact, values) }
      case 'many': {
        const none = document.apart?.[0]
        const isNone = none !== undefined && this.chance() < NONE_TAPPED
        return { kind: 'many', values: [isNone ? none : this.one(values.filter(value => value !== none))] }
      }
      case 'moment': {
        const ago = this.between(2, 150) * MINUTE
        return { kind: 'moment', earliest: instant(this.now - ago - 10 * MINUTE), latest: instant(this.now - ago) }
      }
      case 'date': {
        const at = instant(this.now - Math.floor(this.between(0, 1) ** 2 * 900 + 1) * DAY)
        return { kind: 'moment', earliest: at, latest: at }
      }
      case 'length': {
        const ms = Math.round(fact === 'age' ? this.between(20, 4000) * DAY : this.between(8, 70) * MINUTE)
        return { kind: 'length', atLeastMs: ms, atMostMs: ms }
      }
      case 'number':
        return { kind: 'number', value: Math.round(this.between(...numbersOf(fact)) * 10) / 10 }
      case 'phone':
        // 555-0100 to 555-0199 are kept for fiction.
        return { kind: 'phone', number: `+1212555${String(100 + Math.floor(this.chance() * 100)).padStart(4, '0')}` }
    }
  }

  private danger({ values = [], apart = [] }: FactDocument): Answer {
    const drawn = this.chance()
    if (drawn < DANGER) return { kind: 'many', values: [this.one(values.filter(value => !apart.includes(value)))] }
    return drawn < DANGER + 0.03 ? { kind: 'unsure' } : { kind: 'many', values: [apart[0] ?? 'none'] }
  }

  /** Follow-ups mostly go well; elsewhere the first values are a little more frequent. */
  private choice(fact: string, values: readonly string[]): string {
    if (fact.startsWith('have-you-')) return this.chance() < 0.85 ? 'yes' : 'no'
    if (fact === 'can-travel') return this.chance() < 0.97 ? 'yes' : 'no'
    return values[Math.floor(this.chance() ** 1.4 * values.length)] ?? ''
  }

  // ---- The clinic's people ----

  private paged(page: Effect & { kind: 'page' }, position: number): void {
    const { caseId } = this.invented
    const isDelivered = this.chance() >= this.invented.undelivered
    const pageId = `${caseId}.${this.steps.length}.${position}`
    this.later(this.between(1, 6) * 1000, () => ({
      ...{ kind: 'pageSettled', pageId, to: page.to },
      outcome: isDelivered ? 'accepted' : 'given-up',
    }))
    const isFirst = page.why === 'page' || page.why === 'repeat'
    if (!isDelivered || !isFirst || this.chance() >= this.invented.answers) return
    // Half of all answers within the median, a long tail behind: the logarithm of the time is drawn.
    const minutes = this.invented.answersWithin * Math.exp(1.1 * this.normal())
    this.later(minutes * MINUTE, (_state, at) => this.acknowledge(page.to, at))
  }

  private acknowledge(who: string, at: Instant): CaseEvent | undefined {
    if (this.isAnswered || this.state.outcome !== undefined) return undefined
    this.isAnswered = true
    const by = clinicianIn(this.line, who)
    const promise = Math.ceil(this.between(4, 20))
    const isNow = this.chance() < 0.5
    if (this.chance() < RINGS) {
      this.later((isNow ? this.between(0.5, 4) : promise * this.between(0.3, 1.25)) * MINUTE, () => ({
        kind: 'callMade',
        by,
      }))
    }
    this.later(this.between(25, 140) * MINUTE, state =>
      state.outcome === undefined ? { kind: 'outcomeSet', by, outcome: 'advice-given', doNotWrite: false } : undefined,
    )
    const doing = isNow
      ? ({ kind: 'ringing-now' } as const)
      : ({ kind: 'ringing-by', by: instant(at + promise * MINUTE) } as const)
    return { kind: 'pageAcknowledged', by, doing }
  }

  // ---- Chance ----

  private later(ms: number, event: Coming['event']): void {
    this.coming.push({ at: instant(this.now + ms), event })
  }

  private between(from: number, to: number): number {
    return from + this.chance() * (to - from)
  }

  private one(all: readonly string[]): string {
    return all[Math.floor(this.chance() * all.length)] ?? ''
  }

  /** Of a normal distribution with mean 0 and standard deviation 1 (G. E. P. Box, M. E. Muller 1958). */
  private normal(): number {
    return Math.sqrt(-2 * Math.log(1 - this.chance())) * Math.cos(2 * Math.PI * this.chance())
  }
}

/** Between which a number asked for lies. */
function numbersOf(fact: string): readonly [from: number, to: number] {
  if (fact === 'temperature') return [36.2, 39.6]
  if (fact === 'ph') return [2, 7]
  return [2, 6]
}

function clinicianIn({ clinic }: Line, id: string): Clinician {
  const person = clinic.people.find(one => one.id === id)
  return { id, name: person?.name ?? id, role: person?.job ?? 'desk' }
}
