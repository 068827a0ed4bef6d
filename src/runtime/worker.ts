import type { CaseEvent, InLanguage } from '../case/event.ts'
import type { ChatRef, Incoming } from '../case/message.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { passed } from '../points/points.ts'
import { type AlarmRow, NotOurs, type Store, type StoredCase } from '../store/store.ts'
import { days, type Instant } from '../time/instant.ts'
import { type Applied, caseSteps, type Loaded, type Refusal } from './case-steps.ts'
import { askerOf, type Chosen, chooseCase, type OpenCase } from './choosing.ts'
import { type Clock, type Random, within } from './clock.ts'
import { Busy, NotStored, type OnFault } from './fault.ts'
import type { Machine, RunningCase } from './machine.ts'
import { type Beginning, beginningOf, SOMEONE, tappedConcern } from './opening.ts'
import { codeIn, parkedOf } from './parking.ts'
import { serialQueue } from './serial-queue.ts'
import { eventOfUnderstood, type Understand } from './understanding.ts'

/** Messages that may wait; one more is turned away with `Busy`. */
export const QUEUED_MAX = 1_000

/**
 * Messages of one chat that may wait for their turn; one more is asked to come back, so that a chat that floods neither
 * keeps others waiting nor looks like a store that hangs. It never holds for danger or for whoever wants a person.
 */
const CHAT_QUEUED_MAX = 40
/** Seconds until a chat that floods may come back. */
const CHAT_COMES_BACK_S = 2

/** A closed case still hears taps and small words for this long; afterwards they begin a new one. */
const CLOSED_HEARS_MS = days(1)

/** Question numbers kept for each case of a chat: no two of its cases ask under the same number. */
const SERIALS_A_CASE = 1_000

/** A family waits for so long at most, in milliseconds, its turn in the chat included; then it gets the fixed text. */
export const FAMILY_WAITS_MS = 5_000

/** Wording id of what stands first in the next reply to whoever was told that the line does not work. */
export const WORKS_AGAIN = 'works-again'

/** Chats remembered that were turned away. */
const TURNED_AWAY_MOST = 10_000

/** Cases whose chat is remembered: more than are open in any clinic. */
const CHATS_MOST = 10_000

/** Wording id of what an ended case says when its flow has nothing to say. */
export const CLOSED = 'closed'

/** Wording id of what is said where a step has nothing to say to a message, as "not yet" on the road: nobody meets silence. */
export const HERE_STILL = 'here-still'

/** Events that change what is on record: no message that is no answer becomes one. */
const MAY_ANSWER: ReadonlySet<CaseEvent['kind']> = new Set([
  'answerGiven',
  'readBackAnswered',
  'factSaid',
  'changeWanted',
  'wrongTapSaid',
  'leftSaid',
  'familyRungSaid',
  'greeted',
])

/** Most characters of a message that are written down where it could not be read. */
const SAID_MAX = 4_000

export interface WorkerDependencies {
  readonly store: Store
  readonly machine: Machine
  /** The clinic as it is now. */
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly random: Random
  /** A digest of a text in hexadecimal digits, at least 32 of them. */
  readonly hash: (text: string) => string
  readonly understand: Understand
  readonly onFault: OnFault
  /** Called after every durable commit: there may be something to send, or an earlier alarm. */
  readonly committed: () => void
  /** Called when a message could not be stored: the family is to get the fixed text past the outbox, and people must know. */
  readonly turnedAway: (incoming: Incoming) => void
  /** Default {@link QUEUED_MAX}. */
  readonly queuedMax?: number
}

export interface Worker {
  /**
   * Takes one message; resolves once what it led to is committed. The same delivery again changes nothing.
   * @throws Busy when too many wait; NotStored when the store failed. In both cases the message must be sent again. NotOurs
   * where another process acts for the chat.
   */
  receive(incoming: Incoming): Promise<void>
  /** An act of a clinician. With `deliveryId`, the same act twice (a double tap) is one. */
  act(caseId: string, event: CaseEvent, deliveryId?: string): Promise<Applied>
  /** A stored alarm came due. Fires only if it still stands as the row says. */
  fire(row: AlarmRow): Promise<Applied>
  /** Something the runtime itself found out; `deliveryId` makes it count once, also after a restart. */
  tell(caseId: string, event: CaseEvent, deliveryId: string): Promise<Applied>
  /** The line is back: asks again what `caseId` last asked, if question `serial` is still open. */
  resume(caseId: string, serial: number, downSince: Instant): Promise<Applied>
  /** Codes of cases there are, so that no new one gets the same. */
  rememberCodes(cases: readonly StoredCase[]): void
  readonly queued: number
  drained(): Promise<void>
}

/** The one way through for everything that happens: one chat at a time, in order of arrival. */
export function createWorker(deps: WorkerDependencies): Worker {
  const { store, machine, clock } = deps
  const steps = caseSteps(deps)
  const queue = serialQueue()
  /** Deliveries under way, by chat and delivery id. */
  const underWay = new Map<string, Promise<void>>()
  const codes = new Set<string>()
  /** Chats that were told that the line does not work, and have had no reply since. */
  const turnedAway = new Set<string>()

  /** Keys of the chats of cases, so that a case is not opened once more only to see whose turn it is. */
  const chats = new Map<string, string>()

  const keyOf = ({ channel, chat }: ChatRef) => `${channel}\n${chat}`

  /**
   * Runs under the chat of a case. A case stays in its chat; were it not so, its event number would still keep two steps
   * from counting, and a case that went meanwhile is found missing by the step itself.
   */
  async function inTurn(caseId: string, work: () => Promise<Applied>): Promise<Applied> {
    const known = chats.get(caseId)
    if (known !== undefined) return queue.run(known, work)
    const stored = await store.load(caseId)
    if (stored === undefined) return { kind: 'no-such-case' }
    rememberChat(stored)
    return queue.run(keyOf(stored.chat), work)
  }

  function rememberChat({ caseId, chat }: StoredCase): void {
    if (chats.size >= CHATS_MOST) chats.clear()
    chats.set(caseId, keyOf(chat))
  }

  async function take(incoming: Incoming): Promise<void> {
    passed('worker.received')
    const { channel, chat, body } = incoming
    const cases = await store.casesOf({ channel, chat })
    cases.forEach(rememberChat)
    // This very message opened a case before.
    const own = caseIdOf(deps.hash, incoming)
    if (cases.some(each => each.caseId === own)) return
    if (body.kind === 'control' && body.control === 'new-child')
      return openNew(incoming, own, cases, beginning(incoming))
    const going = cases.filter(each => !each.closed).map(opened)
    const talking = going.filter(each => !isHandedOver(each.stored) && each.state?.outcome === undefined)
    const over = await tappedOver(incoming, cases, talking)
    if (over !== undefined) return hear(incoming, over, { ended: true })
    const chosen = await chooseCase(talking, body, id => store.history(id))
    const hearIt = (to: Chosen) => hear(incoming, to.case.stored, { doubtful: to.doubtful })
    if (chosen !== undefined) return hearIt(chosen)
    const begins = beginning(incoming)
    const ended = endedFor(begins, cases, going)
    return ended === undefined ? openNew(incoming, own, cases, begins) : hear(incoming, ended, { ended: true })
  }

  /**
   * The case whose talk is over that a tap belongs to, while another of the chat is talking: nothing tapped about one
   * child stands in the record of another. Danger goes to the one that talks, which has the emergency steps.
   */
  async function tappedOver(
    incoming: Incoming,
    cases: readonly StoredCase[],
    talking: readonly OpenCase[],
  ): Promise<StoredCase | undefined> {
    const { body } = incoming
    const over = cases.filter(each => !talking.some(({ stored }) => stored.caseId === each.caseId))
    if (body.kind !== 'choice' || talking.length === 0 || over.length === 0) return undefined
    const isAsked = talking.some(({ state }) => state?.open?.serial === body.serial)
    if (isAsked || !beginning(incoming).isSmall) return undefined
    return askerOf(over, body.serial, id => store.history(id))
  }

  /**
   * The case that answers a message though its talk is over: one that people have in hand or that is settled answers all
   * but a concern or danger with a flow of its own; one just closed answers small words only.
   */
  function endedFor(
    begins: Beginning,
    cases: readonly StoredCase[],
    going: readonly OpenCase[],
  ): StoredCase | undefined {
    if (!begins.isServed || begins.isSmall) {
      const inHand = going[0]
      if (inHand !== undefined) return inHand.stored
    }
    if (!begins.isSmall) return undefined
    return cases.find(each => each.closed && clock.now() - each.changedAt < CLOSED_HEARS_MS)
  }

  function opened(stored: StoredCase): OpenCase {
    return { stored, state: parkedOf(stored.state) === undefined ? readable(stored.state) : undefined }
  }

  function readable(state: string): RunningCase | undefined {
    try {
      return machine.parse(state)
    } catch {
      return undefined
    }
  }

  /** What whoever was turned away is told first, once. */
  const firstWords = (incoming: Incoming) => ({
    opensWith: () => (turnedAway.has(keyOf(incoming)) ? WORKS_AGAIN : undefined),
    replied: () => void turnedAway.delete(keyOf(incoming)),
  })

  /** Waits for `work` as long as a family does. It goes on all the same, and counts when it ends. */
  async function kept(work: Promise<void>): Promise<void> {
    const LATE = Symbol('late')
    const answer = await within<void, typeof LATE>(clock, FAMILY_WAITS_MS, work, LATE)
    if (answer === LATE) throw new KeptLate(`worker: a message was not kept within ${FAMILY_WAITS_MS} ms`)
  }

  /** A message of a case that is there. */
  async function hear(
    incoming: Incoming,
    read: StoredCase,
    how: { doubtful?: boolean; ended?: boolean },
  ): Promise<void> {
    await steps.apply({
      ...{ caseId: read.caseId, read },
      eventFor: ({ state }) =>
        state === undefined ? rawEvent(incoming) : eventOf(incoming, state, how.doubtful === true),
      replyAtLeast: how.ended === true ? CLOSED : HERE_STILL,
      raw: rawEvent(incoming),
      delivery: deliveryOf(incoming),
      ...firstWords(incoming),
    })
  }

  /** Danger, despair and the wish for a person are heard however much else a chat has sent. */
  function cannotWait(incoming: Incoming): boolean {
    const kind = reading(incoming, undefined)?.kind
    return kind === undefined || kind === 'danger' || kind === 'despair' || kind === 'person'
  }

  function eventOf(incoming: Incoming, state: RunningCase, doubtful: boolean): CaseEvent & InLanguage {
    const { body } = incoming
    const tapped = tappedConcern(body)
    if (tapped === state.concern || tapped === SOMEONE) return { kind: 'greeted' }
    if (tapped !== undefined) return { kind: 'concernNamed', concerns: [tapped], said: '' }
    const chosen = languageTapped(body)
    if (chosen !== undefined) return { kind: 'languageChosen', language: chosen }
    const understood = reading(incoming, state)
    const event = understood === undefined ? rawEvent(incoming) : eventOfUnderstood(understood, body, state)
    if (incoming.noAnswer !== undefined) return unanswering(event, incoming.noAnswer, saidIn(incoming))
    if (!doubtful || (event.kind !== 'answerGiven' && event.kind !== 'readBackAnswered')) return event
    if (body.kind === 'choice') return { kind: 'staleAnswer', serial: body.serial, said: event.said }
    return { kind: 'notUnderstood', reason: 'two-answers', said: event.said }
  }

  /** What a message means; undefined when reading it failed: a person sees to it, and the talk stays where it is. */
  function reading(incoming: Incoming, state: RunningCase | undefined): ReturnType<Understand> | undefined {
    const { body, language, madeAt, at } = incoming
    try {
      return deps.understand({ body, state, at: madeAt ?? at, ...(language === undefined ? {} : { language }) })
    } catch (error) {
      deps.onFault({ code: 'understanding-failed', ...(state === undefined ? {} : { caseId: state.caseId }), error })
      return undefined
    }
  }

  function beginning(incoming: Incoming): Beginning & { readonly language: string } {
    const unread: ReturnType<Understand> = { kind: 'person', said: saidIn(incoming) }
    const understood = reading(incoming, undefined) ?? unread
    const chosen = languageTapped(incoming.body) ?? understood.language ?? incoming.language
    const language = machine.languages.find(each => each === chosen) ?? machine.languages[0] ?? ''
    const begins = beginningOf(incoming.body, understood, machine.concernsIn(language))
    const phone = understood.phone === undefined ? {} : { phone: understood.phone }
    if (incoming.noAnswer === undefined) return { ...begins, event: { ...begins.event, ...phone }, language }
    const { facts: _unanswered, ...event } = begins.event
    return { ...begins, event, language }
  }

  async function openNew(
    incoming: Incoming,
    caseId: string,
    cases: readonly StoredCase[],
    begins: ReturnType<typeof beginning>,
  ): Promise<void> {
    const chat = { channel: incoming.channel, chat: incoming.chat }
    const code = drawnCode(clock.now())
    const { event, nickname, isServed, language } = begins
    const serialAfter = cases.length * SERIALS_A_CASE
    const opening = { caseId, chat, code, concern: event.concern, serialAfter, language }
    const open = (at: Instant) => machine.openCase({ ...opening, at, ...(nickname === undefined ? {} : { nickname }) })
    const delivery = deliveryOf(incoming)
    const isFirst = language === machine.languages[0]
    const written = {
      ...event,
      ...(serialAfter === 0 ? {} : { serialAfter }),
      ...(isFirst ? {} : { inLanguage: language }),
    }
    await steps.begin({
      ...{ caseId, chat, code, event: written, delivery },
      open: isServed ? open : undefined,
      ...firstWords(incoming),
    })
  }

  /** A code that no other case of late has. */
  function drawnCode(at: Instant): string {
    const draw = () => machine.codeOf(deps.random.int(10_000), at)
    let code = draw()
    for (let again = 0; again < 30 && codes.has(code); again += 1) code = draw()
    codes.add(code)
    return code
  }

  function actFor({ state, stored }: Loaded, event: CaseEvent): CaseEvent | Refusal {
    if (event.kind !== 'pageAcknowledged') return event
    if (stored.closed) return { kind: 'closed' }
    const holder = state === undefined ? parkedOf(stored.state)?.parked.takenBy : machine.holderOf(state)
    return holder === undefined || holder.id === event.by.id ? event : { kind: 'already-taken-by', by: holder }
  }

  async function stands(row: AlarmRow, state: RunningCase | undefined): Promise<boolean> {
    if (state?.alarms?.[row.name]?.due === row.due) return true
    if (store.alarmOf !== undefined) return (await store.alarmOf(row.caseId, row.name)) === row.due
    const due = await store.due(row.due, 10_000)
    return due.some(each => each.caseId === row.caseId && each.name === row.name && each.due === row.due)
  }

  async function received(incoming: Incoming): Promise<void> {
    const limit = deps.queuedMax ?? QUEUED_MAX
    if (queue.size >= limit) throw new Busy(queue.size)
    const ofChat = queue.sizeOf(keyOf(incoming))
    if (ofChat >= CHAT_QUEUED_MAX && !cannotWait(incoming)) throw new Busy(ofChat, CHAT_COMES_BACK_S)
    try {
      await kept(queue.run(keyOf(incoming), () => take(incoming)))
    } catch (error) {
      // Nothing failed: it is for the process that acts for this chat.
      if (error instanceof NotOurs) throw error
      deps.onFault({ code: 'store-failed', error })
      if (turnedAway.size > TURNED_AWAY_MOST) turnedAway.clear()
      turnedAway.add(keyOf(incoming))
      deps.turnedAway(incoming)
      throw new NotStored('worker: a message could not be stored; it must be sent again', { cause: error })
    }
  }

  return {
    receive(incoming) {
      // The same delivery while it is under way is the same message: it waits for that and takes no place of its own.
      const key = `${keyOf(incoming)}\n${incoming.deliveryId}`
      const there = underWay.get(key)
      if (there !== undefined) return there
      const work = received(incoming).finally(() => underWay.delete(key))
      underWay.set(key, work)
      return work
    },
    act: (caseId, event, deliveryId) =>
      inTurn(caseId, () =>
        steps.apply({
          caseId,
          eventFor: loaded => actFor(loaded, event),
          raw: event,
          ...(deliveryId === undefined ? {} : { delivery: { channel: 'clinic', deliveryId } }),
        }),
      ),
    fire: row => {
      const event: CaseEvent = { kind: 'alarmDue', name: row.name, due: row.due }
      const eventFor = async ({ state }: Loaded) =>
        (await stands(row, state)) ? event : ({ kind: 'nothing' } as const)
      return inTurn(row.caseId, () => steps.apply({ caseId: row.caseId, eventFor, raw: event }))
    },
    tell: (caseId, event, deliveryId) =>
      inTurn(caseId, () =>
        steps.apply({ caseId, eventFor: () => event, raw: event, delivery: { channel: 'runtime', deliveryId } }),
      ),
    resume: (caseId, serial, downSince) => {
      const event: CaseEvent = { kind: 'resumed', downSince }
      const eventFor = ({ state }: Loaded) => (state?.open?.serial === serial ? event : ({ kind: 'nothing' } as const))
      return inTurn(caseId, () => steps.apply({ caseId, eventFor, raw: event }))
    },
    rememberCodes: cases => {
      for (const each of cases) {
        rememberChat(each)
        const code = parkedOf(each.state)?.parked.code ?? codeIn(each.state)
        if (code !== undefined) codes.add(code)
      }
    },
    get queued() {
      return queue.size
    },
    drained: () => queue.drained(),
  }
}

/** A message was not kept in the time a family waits. It may be kept later. */
class KeptLate extends Error {
  override readonly name = 'KeptLate'
}

/**
 * Id of the case that a message opens: the same for the same delivery, so that a message that comes twice opens one.
 * Says nothing about the chat to whoever reads it.
 */
export function caseIdOf(hash: (text: string) => string, { channel, chat, deliveryId }: Incoming): string {
  return hash(JSON.stringify([channel, chat, deliveryId])).slice(0, 32)
}

const deliveryOf = ({ channel, deliveryId }: Incoming) => ({ channel, deliveryId })

const saidIn = ({ body }: Incoming): string => (body.kind === 'text' ? body.text.slice(0, SAID_MAX) : '')

/** The language chosen by a control. */
const languageTapped = (body: Incoming['body']): string | undefined =>
  body.kind === 'control' && body.control === 'language' ? body.subject : undefined

/** What is written down of a message to a case that cannot be read: the words, and that a person is wanted. */
function rawEvent(incoming: Incoming): CaseEvent {
  return { kind: 'personWanted', said: saidIn(incoming) }
}

/** What is left of an event where the message it came by is no answer: danger, another trouble, the wish for a person. */
function unanswering(
  event: CaseEvent & InLanguage,
  reason: NonNullable<Incoming['noAnswer']>,
  said: string,
): CaseEvent {
  if (MAY_ANSWER.has(event.kind)) return { kind: 'notUnderstood', reason, said }
  if (event.kind !== 'concernNamed') return event
  const { facts: _unanswered, ...named } = event
  return named
}

const isHandedOver = (stored: StoredCase): boolean => parkedOf(stored.state)?.parked.why === 'no-flow'
