/**
 * One vignette through the whole bot: a channel that sends `Incoming`, reads `Outgoing`, and knows nothing else; a clock
 * moved by hand; a pager that counts. Understanding, step, store and outbox are those of production.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Duration } from 'luxon'
import type { Answer } from '../case/answer.ts'
import { closureTimesOf } from '../case/derive.ts'
import type { Incoming, Outgoing, Question } from '../case/message.ts'
import { type CaseState, parseState } from '../case/state.ts'
import { counted } from '../case/values.ts'
import type { Channel } from '../channels/channel.ts'
import type { FactDocument } from '../flow/document.ts'
import { seeded } from '../measure/seeded.ts'
import { boardPager } from '../pagers/board.ts'
import type { Pager } from '../pagers/pager.ts'
import { handClock } from '../runtime/hand-clock.ts'
import { lineMachine } from '../runtime/line-machine.ts'
import type { Machine } from '../runtime/machine.ts'
import { type Instant, instant } from '../time/instant.ts'
import { localParts } from '../time/local-instants.ts'
import { clockText } from '../time/local-time.ts'
import { openBot } from './bot.ts'
import type { LoadedLine } from './load-line.ts'
import { inLanguageOf } from './script-play.ts'
import type { Vignette } from './vignette-file.ts'

const MOST_QUESTIONS = 80
/** Asked again as time passes; answered only where a vignette says how. */
const FOLLOW_UPS: readonly string[] = ['have-you-left', 'have-you-arrived']
const CHAT = { channel: 'vignette', chat: 'family' } as const

export interface VignetteRun {
  readonly decided: string | undefined
  readonly advised: readonly string[]
  readonly pages: boolean
  readonly leaveBy: Instant | undefined
  readonly questions: number
  /** Ids of the steps that talk came through. */
  readonly entered: readonly string[]
  /** The conversation as it was: one line each. */
  readonly conversation: readonly string[]
}

/** @param onStep  told of each step as it comes: the case before it, what happens, and when */
export async function runVignette(
  loaded: LoadedLine,
  vignette: Vignette,
  onStep: (...happens: Parameters<Machine['step']>) => void = () => {},
): Promise<VignetteRun> {
  const line = { ...loaded.line, settings: vignette.settings }
  const at = instant(Date.parse(vignette.at))
  const clock = handClock(at)
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-vignette-'))
  const received: Outgoing[] = []
  let pages = 0
  const board = boardPager()
  const counting: Pager = {
    id: 'counting',
    async page(page) {
      if (page.kind === 'page') pages += 1
      return board.page(page)
    },
    stop: async () => {},
  }
  const channel: Channel = {
    id: CHAT.channel,
    async deliver(outgoing) {
      received.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => {},
    stop: async () => {},
  }
  const bot = await openBot({
    loaded: { ...loaded, line },
    dataDir: folder,
    isThrowaway: true,
    clock,
    // The same in every run: of two runs of one situation nothing differs but what they came to.
    random: seeded(1),
    log: () => {},
    origin: () => 'http://localhost',
    channels: [channel],
    machine: knowing(heardBy(lineMachine(line), onStep), answersOf(vignette.knows ?? {}, line.flows.facts, at)),
    pagers: { board, of: () => counting, stop: async () => {} },
  })
  const talk = new Talk(bot.runtime, clock, received, line, at, vignette)
  try {
    await bot.runtime.start()
    await talk.open()
    await talk.answerAll()
    for (const then of vignette.then) await talk.next(then)
    const [stored] = await bot.store.casesOf(CHAT)
    const state = stored === undefined ? undefined : parseState(line, stored.state)
    return {
      ...resultOf(line, state),
      advised: talk.advised(),
      pages: pages > 0,
      questions: talk.questions,
      conversation: talk.conversation,
    }
  } finally {
    await bot.stop()
    rmSync(folder, { recursive: true, force: true })
  }
}

function resultOf(line: LoadedLine['line'], state: CaseState | undefined) {
  const times = state === undefined ? undefined : closureTimesOf(line, state)
  return {
    decided: state?.disposition?.id,
    entered: Object.keys(state?.enteredAt ?? {}),
    leaveBy: times === undefined || times === 'unknown' ? undefined : times.leaveBy,
  }
}

const heardBy = (machine: Machine, onStep: (...happens: Parameters<Machine['step']>) => void): Machine => ({
  ...machine,
  step: (...happens) => {
    onStep(...happens)
    return machine.step(...happens)
  },
})

/** The machine for a child whose record already holds some answers. */
export function knowing(machine: Machine, facts: Readonly<Record<string, Answer>>): Machine {
  if (Object.keys(facts).length === 0) return machine
  return {
    ...machine,
    step: (state, event, at) =>
      machine.step(state, event.kind === 'caseOpened' ? { ...event, facts: { ...facts, ...event.facts } } : event, at),
  }
}

class Talk {
  readonly conversation: string[] = []
  questions = 0
  private read = 0
  private sent = 0
  private open_: Question | undefined
  private readonly runtime
  private readonly clock
  private readonly received
  private readonly line
  private readonly startedAt
  private readonly vignette
  private readonly asked = new Set<string>()

  constructor(
    runtime: Awaited<ReturnType<typeof openBot>>['runtime'],
    clock: ReturnType<typeof handClock>,
    received: readonly Outgoing[],
    line: LoadedLine['line'],
    startedAt: Instant,
    vignette: Vignette,
  ) {
    this.runtime = runtime
    this.clock = clock
    this.received = received
    this.line = line
    this.startedAt = startedAt
    this.vignette = vignette
  }

  async open(): Promise<void> {
    const { says, concern } = this.vignette
    await this.send(
      says === undefined ? { kind: 'choice', serial: 0, values: [concern ?? ''] } : { kind: 'text', text: says },
    )
  }

  /** Answers every question that comes, until none is open or it is a follow-up nobody listed. */
  async answerAll(): Promise<void> {
    for (let count = 0; this.open_ !== undefined && count < MOST_QUESTIONS; count++) {
      const { fact } = this.open_
      const given = this.vignette.answers[fact] ?? this.stoodFor(fact)
      if (given === undefined && FOLLOW_UPS.includes(fact)) return
      await this.answer(this.open_, given)
    }
  }

  /**
   * A question that stands for single ones is answered by theirs: everything that is not listed with an answer that leaves
   * it out is chosen, and so asked about by itself.
   */
  private stoodFor(fact: string): string[] | undefined {
    const document = this.line.flows.facts[fact]
    const standing = document?.['stands-for']
    if (document === undefined || standing === undefined) return undefined
    const { answers, knows } = this.vignette
    const chosen = Object.entries(standing).flatMap(([value, singles]) => {
      const isLeftOut = Object.entries(singles).every(([single, out]) =>
        out.some(each => isWithin(String(answers[single] ?? knows?.[single]), each)),
      )
      return isLeftOut ? [] : [value]
    })
    return chosen.length > 0 ? chosen : [...(document.apart ?? [])]
  }

  async next(then: Vignette['then'][number]): Promise<void> {
    await this.clock.advance(Duration.fromISO(then.after).toMillis(), () => this.runtime.idle())
    this.take()
    if (then.says !== undefined) await this.send({ kind: 'text', text: then.says })
    for (const [fact, given] of Object.entries(then.answer ?? {})) {
      if (fact === 'can-travel' && given === 'no' && this.open_?.fact !== fact)
        await this.send({ kind: 'control', control: 'cannot-travel' })
      else if (this.open_?.fact === fact) await this.answer(this.open_, given)
      else
        await this.send({ kind: 'control', control: 'change', subject: fact }).then(async () =>
          this.open_?.fact === fact ? this.answer(this.open_, given) : undefined,
        )
    }
    if (then.answer !== undefined) await this.answerAll()
  }

  advised(): string[] {
    const tags = this.received.flatMap(outgoing =>
      outgoing.parts.flatMap(part => (part.kind === 'advice' ? part.tags : [])),
    )
    return [...new Set(tags)].sort()
  }

  private async answer(question: Question, given: Vignette['answers'][string] | undefined): Promise<void> {
    if (
      question.options.length === 2 &&
      question.options.every(option => option.value === 'yes' || option.value === 'no') &&
      question.accepts === 'moment'
    ) {
      await this.tap(question, ['yes'])
      return
    }
    const document = this.line.flows.facts[question.fact]
    if (given === undefined || given === 'unsure' || document === undefined) await this.tap(question, ['not-sure'])
    else await this.giveListed(question, document, given)
  }

  private async giveListed(
    question: Question,
    document: FactDocument,
    given: NonNullable<Vignette['answers'][string]>,
  ): Promise<void> {
    const values = Array.isArray(given) ? given : [String(given)]
    if (values.every(value => question.options.some(option => option.value === value)))
      return this.tap(question, values)
    return this.send({ kind: 'text', text: this.typed(document, String(given)) })
  }

  /** A duration as a typed clock time, a date as typed words. */
  private typed(document: FactDocument, given: string): string {
    if (document.kind !== 'moment' && document.kind !== 'date' && document.kind !== 'length') return given
    const length = Duration.fromISO(given)
    if (!length.isValid) return given
    const { language = 'en' } = this.vignette
    if (document.kind === 'length') return lengthWords(length, language)
    const when = instant(this.startedAt - length.toMillis())
    if (document.kind === 'moment' && length.as('hours') < 12)
      return clockText(when, this.line.clinic.zone, '12h', language)
    if (document.kind === 'moment')
      return new Intl.RelativeTimeFormat(language).format(-Math.round(length.as('hours')), 'hour')
    const { year, month, day } = localParts(when, this.line.clinic.zone)
    return `${year}-${String(month).padStart(2, '0')}-${String(day).padStart(2, '0')}`
  }

  private tap(question: Question, values: readonly string[]): Promise<void> {
    return this.send({ kind: 'choice', serial: question.serial, values })
  }

  private async send(body: Incoming['body']): Promise<void> {
    this.sent++
    this.conversation.push(
      `> ${body.kind === 'text' ? body.text : body.kind === 'choice' ? body.values.join(', ') : body.kind === 'control' ? `[${body.control}]` : body.media}`,
    )
    this.open_ = undefined
    const incoming = { ...CHAT, deliveryId: `${this.vignette.id}.${this.sent}`, at: this.clock.now(), body }
    await this.runtime.receive(inLanguageOf(this.vignette, incoming))
    await this.runtime.idle()
    this.take()
  }

  /** Reads what has arrived: the last question of the latest reply is the open one. */
  private take(): void {
    for (const outgoing of this.received.slice(this.read)) {
      for (const part of outgoing.parts) {
        this.conversation.push(`  ${'text' in part ? part.text : ''}`)
        if (part.kind === 'question') this.note(part)
      }
    }
    this.read = this.received.length
  }

  private note(question: Question): void {
    this.open_ = question
    if (this.asked.has(question.fact) || FOLLOW_UPS.includes(question.fact)) return
    this.asked.add(question.fact)
    this.questions++
  }
}

/** Whether a listed answer is this one, or lies in this range of numbers or durations ("36..37.4", "PT0M..PT7H"). */
function isWithin(given: string, listed: string): boolean {
  const [least, most] = listed.split('..')
  if (least === undefined || most === undefined) return given === listed
  const amountOf = (text: string): number => (text.startsWith('P') ? Duration.fromISO(text).toMillis() : Number(text))
  return amountOf(given) >= amountOf(least) && amountOf(given) <= amountOf(most)
}

/** In the unit it is written in, as somebody says an age or a way: "3 years", "25 minutes". */
function lengthWords(length: Duration, language: string): string {
  const unit = (['year', 'month', 'week', 'day'] as const).find(each => length.as(`${each}s`) === length[`${each}s`])
  return counted(length.as(`${unit ?? 'minute'}s`), unit ?? 'minute', language)
}

function answersOf(
  given: Vignette['answers'],
  facts: Readonly<Record<string, FactDocument>>,
  at: Instant,
): Record<string, Answer> {
  return Object.fromEntries(Object.entries(given).map(([fact, value]) => [fact, recordAnswer(facts[fact], value, at)]))
}

function recordAnswer(document: FactDocument | undefined, value: Vignette['answers'][string], at: Instant): Answer {
  if (value === 'unsure' || document === undefined) return { kind: 'unsure' }
  switch (document.kind) {
    case 'choice':
      return { kind: 'choice', value: String(value) }
    case 'many':
      return { kind: 'many', values: Array.isArray(value) ? value : [String(value)] }
    case 'number':
      return { kind: 'number', value: Number(value) }
    case 'phone':
      return { kind: 'phone', number: String(value) }
    case 'length': {
      const length = Duration.fromISO(String(value)).toMillis()
      return { kind: 'length', atLeastMs: length, atMostMs: length }
    }
    case 'moment':
    case 'date': {
      const when = instant(at - Duration.fromISO(String(value)).toMillis())
      return { kind: 'moment', earliest: when, latest: when }
    }
  }
}
