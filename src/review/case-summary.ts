/**
 * What figures and the sampling plan need to know of a case: ids, counts and lengths of time, and nothing that was said. It is
 * worked out by going through the case's events with the step that made them, once, and kept.
 */
import { LATE_AFTER_MS } from '../case/alarm.ts'
import type { Effect } from '../case/effect.ts'
import type { CaseEvent, Disposition } from '../case/event.ts'
import { type Line, languagesOf } from '../case/line.ts'
import { type CaseState, openCase } from '../case/state.ts'
import { type Stepped, step } from '../case/step.ts'
import { SILENT_ASK, SILENT_PAGE } from '../flow/steps.ts'
import { elapsed, type Instant, type Milliseconds } from '../time/instant.ts'
import { localParts } from '../time/local-instants.ts'
import { type CaseRecord, type RecordStep, wasHanded } from './case-record.ts'

/** Rises when a summary says more than before. One of an earlier program is made anew, and still read where its case is erased. */
export const SUMMARY_VERSION = 2

/** How long a case was waited with for something; `open`: until its record ends it had not come. */
export interface Wait {
  readonly ms: Milliseconds
  readonly open?: true
}

export interface CaseSummary {
  readonly version: 1 | typeof SUMMARY_VERSION
  readonly caseId: string
  readonly family: string
  readonly channel: string
  readonly language: string
  /** What it was about first, and all it came to be about. */
  readonly concern: string
  readonly concerns: readonly string[]
  readonly openedAt: Instant
  /** Of the clinic's zone: `2026-03`, `2026-03-01`, 0 to 23. */
  readonly month: string
  readonly day: string
  readonly hour: number
  readonly closed: boolean
  /** The line's own decision, before any clinician lowered it. */
  readonly decided?: Disposition
  /** A danger sign was seen. */
  readonly isRedFlag: boolean
  /** Somebody was paged, and nobody answered in the ladder's time, or at all. */
  readonly isUnanswered: boolean
  /** It could not go on by itself and was handed to people: what follows is theirs. */
  readonly isHanded?: true
  /** What the clinician said came of it; left out where nothing was said. */
  readonly outcome?: string
  /** The step whose question was left open: silence was chased, the family never wrote again, and no clinician had it by then. */
  readonly abandonedAt?: string
  /** Whether that was after the decision had been said. */
  readonly abandonedLate?: true
  readonly waits: {
    /** From the first message. */
    readonly holding: Wait
    readonly decision: Wait
    readonly page?: Wait
    /** From the first page. */
    readonly acknowledged?: Wait
    readonly contact?: Wait
    /** From the time that was promised; 0 where the call came before it. */
    readonly promise?: Wait
  }
  /** Pages by rung of the ladder, from 1: whether whoever was paged on it answered. */
  readonly rungs: readonly boolean[]
  readonly pages: number
  /** Steps that talk came through. */
  readonly steps: readonly string[]
  /** Questions put, answered "not sure", and put again because the words were no answer: a fact each time. */
  readonly asked: readonly string[]
  readonly notSure: readonly string[]
  readonly askedAgain: readonly string[]
  readonly alarms: number
  readonly alarmsLate: number
}

/** One step with the case as it stood after it. */
export interface WalkedStep extends RecordStep {
  readonly state: CaseState
}

/** The line that a step was made on, by its edition. */
export type LineAt = (edition: string | undefined) => Line

/** What is on record is not what the line decides: another line made it. */
export class RecordDiffers extends Error {
  override readonly name = 'RecordDiffers'
}

/**
 * The case anew, step by step. From where people took it over, its steps as they are on record, with the case as it stood then.
 *
 * @throws RecordDiffers at the first step that pages, waits, notes or ends otherwise than is on record
 */
export function* walked(lineAt: LineAt, record: CaseRecord): Generator<WalkedStep> {
  const { caseId, family, channel, openedAt, concern, language, serialAfter } = record
  const opening = { caseId, chat: { channel, chat: family }, at: openedAt, code: '', concern }
  const first = lineAt(record.steps[0]?.edition)
  let state: CaseState = {
    ...openCase(first, { ...opening, ...(language === undefined ? {} : { language }) }),
    serial: serialAfter,
  }
  const mayBeHanded = wasHanded(record)
  let isHanded = false
  for (const [index, each] of record.steps.entries()) {
    const stepped = isHanded
      ? undefined
      : steppedOr(mayBeHanded, () => step(lineAt(each.edition), state, each.event, each.at))
    if (stepped !== undefined && actsOf(stepped.effects) === actsOf(each.effects)) state = stepped.state
    else if (mayBeHanded) isHanded = true
    else
      throw new RecordDiffers(
        `case ${caseId}: event ${index + 1} (${each.event.kind}) is decided otherwise on this line`,
      )
    yield { ...each, state }
  }
}

/** A step that breaks is what may have handed the case to people. */
function steppedOr(mayBreak: boolean, work: () => Stepped): Stepped | undefined {
  try {
    return work()
  } catch (error) {
    if (mayBreak) return undefined
    throw error
  }
}

/** Everything but replies: words may stand before those that the step did not put there. */
const actsOf = (effects: readonly Effect[]): string => JSON.stringify(effects.filter(({ kind }) => kind !== 'reply'))

export function summaryOf(lineAt: LineAt, record: CaseRecord): CaseSummary {
  const line = lineAt(record.steps[0]?.edition)
  const seen = new Seen(line, record.openedAt)
  let last: WalkedStep | undefined
  for (const each of walked(lineAt, record)) {
    seen.take(each)
    last = each
  }
  const { openedAt, concern } = record
  const isHanded = wasHanded(record)
  const local = localParts(openedAt, line.clinic.zone)
  const two = (part: number) => String(part).padStart(2, '0')
  const month = `${local.year}-${two(local.month)}`
  return {
    version: SUMMARY_VERSION,
    caseId: record.caseId,
    family: record.family,
    channel: record.channel,
    language: record.language ?? languagesOf(line)[0] ?? line.language,
    concern,
    concerns: [...new Set([concern, ...seen.concerns])],
    ...{ openedAt, month, day: `${month}-${two(local.day)}`, hour: local.hour, closed: record.closed },
    ...(seen.decided === undefined ? {} : { decided: seen.decided }),
    isRedFlag: last?.state.danger !== undefined || seen.decided === 'ambulance',
    isUnanswered:
      seen.ranOut || (seen.firstPageAt !== undefined && seen.answeredAt === undefined && (seen.isOver || isHanded)),
    ...(isHanded ? { isHanded: true as const } : {}),
    ...(seen.outcome === undefined ? {} : { outcome: seen.outcome }),
    ...(seen.abandoned === undefined ? {} : { abandonedAt: seen.abandoned.step }),
    ...(seen.abandoned?.isLate === true ? { abandonedLate: true as const } : {}),
    waits: seen.waits(),
    ...{ rungs: seen.rungs, pages: seen.pages, steps: [...seen.steps] },
    ...{ asked: seen.asked, notSure: seen.notSure, askedAgain: seen.askedAgain },
    ...{ alarms: seen.alarms, alarmsLate: seen.alarmsLate },
  }
}

/** What a family does; everything else is the line's clock, its pages, or the clinic's people. */
const BY_FAMILY: ReadonlySet<CaseEvent['kind']> = new Set([
  ...([
    'caseOpened',
    'answerGiven',
    'readBackAnswered',
    'changeWanted',
    'factSaid',
    'staleAnswer',
    'dangerSaid',
  ] as const),
  ...(['wrongTapSaid', 'personWanted', 'travelRefused', 'leftSaid', 'familyRungSaid', 'notUnderstood'] as const),
  ...(['greeted', 'concernNamed', 'languageChosen', 'photoKept'] as const),
])

/** The step that asks what stands open. */
function askingStep(line: Line, { open, concern, enteredAt, kernel }: CaseState): string | undefined {
  if (open === undefined) return undefined
  const steps = line.flows.flows.get(concern)?.steps
  const asking = Object.entries(enteredAt)
    .filter(([id]) => steps?.get(id)?.ask === open.fact)
    .sort(([, one], [, other]) => other - one)[0]
  return asking?.[0] ?? kernel.talk
}

/** What is noted on the way through a case. */
class Seen {
  readonly concerns: string[] = []
  readonly steps = new Set<string>()
  readonly asked: string[] = []
  readonly notSure: string[] = []
  readonly askedAgain: string[] = []
  readonly rungs: boolean[] = []
  alarms = 0
  alarmsLate = 0
  pages = 0
  decided: Disposition | undefined
  firstPageAt: Instant | undefined
  answeredAt: Instant | undefined
  ranOut = false
  outcome: string | undefined
  /** Where the family fell silent, as far as it has not written again. */
  abandoned: { readonly step: string; readonly isLate: boolean } | undefined
  /** The case has gone past every rung, or ended. */
  isOver = false
  private readonly line: Line
  private readonly openedAt: Instant
  private endsAt: Instant
  private holdingAt: Instant | undefined
  private decidedAt: Instant | undefined
  private contactAt: Instant | undefined
  private promisedAt: Instant | undefined
  private rung = 0
  private openStep: string | undefined
  private readonly serials = new Set<number>()

  constructor(line: Line, openedAt: Instant) {
    this.line = line
    this.openedAt = openedAt
    this.endsAt = openedAt
  }

  take({ at, event, effects, state }: WalkedStep): void {
    this.endsAt = at
    if (this.concerns.at(-1) !== state.concern) this.concerns.push(state.concern)
    for (const id of Object.keys(state.enteredAt)) this.steps.add(id)
    this.isOver = state.closed || state.outcome !== undefined || state.callout.everyoneAt !== undefined
    if (state.callout.everyoneAt !== undefined && state.callout.taken === undefined) this.ranOut = true
    this.takeEvent(event, at)
    this.takeSilence(event, state)
    for (const effect of effects) {
      if (effect.kind === 'page') this.takePage(effect, at)
      if (effect.kind !== 'reply') continue
      const advice = this.line.flows.flows.get(effect.concern ?? state.concern)?.advice
      for (const part of effect.parts) {
        if (part.kind === 'say' && advice?.has(part.id) === true) this.holdingAt ??= at
        if (part.kind === 'ask') this.takeAsk(part.fact, part.serial)
      }
    }
    if (state.disposition !== undefined && event.kind !== 'dispositionLowered') {
      this.decidedAt ??= at
      this.decided = state.disposition.id
    }
  }

  private takeEvent(event: RecordStep['event'], at: Instant): void {
    switch (event.kind) {
      case 'answerGiven':
        if (event.answer.kind === 'unsure') this.notSure.push(event.fact)
        return
      case 'alarmDue':
        this.alarms++
        if (at - event.due > LATE_AFTER_MS) this.alarmsLate++
        return
      case 'pageAcknowledged':
        if (this.answeredAt === undefined && this.rung > 0) this.rungs[this.rung - 1] = true
        this.answeredAt ??= at
        if (event.doing.kind === 'ringing-by') this.promisedAt ??= event.doing.by
        return
      case 'outcomeSet':
        this.outcome = event.outcome
        return
      case 'callMade':
      case 'clinicianWrote':
        if (this.firstPageAt !== undefined) this.contactAt ??= at
        return
      default:
        return
    }
  }

  private takeSilence(event: CaseEvent, state: CaseState): void {
    if (BY_FAMILY.has(event.kind)) {
      this.abandoned = undefined
      this.openStep = askingStep(this.line, state)
    }
    const isSilence = event.kind === 'alarmDue' && (event.name === SILENT_ASK || event.name === SILENT_PAGE)
    // Whoever is in a clinician's hands need not answer the line any more.
    if (!isSilence || this.openStep === undefined || this.answeredAt !== undefined) return
    this.abandoned ??= { step: this.openStep, isLate: this.decided !== undefined }
  }

  private takePage({ why, number }: { readonly why: string; readonly number: number }, at: Instant): void {
    this.pages++
    if (why !== 'page' && why !== 'repeat') return
    this.firstPageAt ??= at
    if (this.answeredAt !== undefined) return
    this.rung = Math.max(this.rung, number)
    while (this.rungs.length < this.rung) this.rungs.push(false)
  }

  private takeAsk(fact: string, serial: number): void {
    if (this.serials.has(serial)) this.askedAgain.push(fact)
    else this.asked.push(fact)
    this.serials.add(serial)
  }

  waits(): CaseSummary['waits'] {
    const wait = (from: Instant, to: Instant | undefined): Wait =>
      to === undefined ? { ms: elapsed(from, this.endsAt), open: true } : { ms: elapsed(from, to) }
    const { firstPageAt, promisedAt } = this
    return {
      holding: wait(this.openedAt, this.holdingAt),
      decision: wait(this.openedAt, this.decidedAt),
      // A case in which nobody was paged waits for no page.
      ...(firstPageAt === undefined
        ? {}
        : {
            page: wait(this.openedAt, firstPageAt),
            acknowledged: wait(firstPageAt, this.answeredAt),
            contact: wait(firstPageAt, this.contactAt),
          }),
      ...(promisedAt === undefined ? {} : { promise: wait(promisedAt, this.contactAt) }),
    }
  }
}
