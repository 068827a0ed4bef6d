import type { CaseEvent } from '../case/event.ts'
import type { ChatRef, Incoming } from '../case/message.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { AlarmRow, Store, StoredCase } from '../store/store.ts'
import { days, type Instant } from '../time/instant.ts'
import { type Applied, caseSteps, type Loaded, type Refusal } from './case-steps.ts'
import { chooseCase, type OpenCase } from './choosing.ts'
import type { Clock, Random } from './clock.ts'
import { Busy, NotStored, type OnFault } from './fault.ts'
import type { Machine, RunningCase } from './machine.ts'
import { type Beginning, beginningOfControl, beginningOfTap, beginningOfUnderstood, tappedConcern } from './opening.ts'
import { codeIn, parkedOf } from './parking.ts'
import { serialQueue } from './serial-queue.ts'
import { eventOfControl, eventOfUnderstood, type Understand, type Understood } from './understanding.ts'

/** Messages that may wait; one more is turned away with `Busy`. */
export const QUEUED_MAX = 1_000

/** A closed case still hears taps and small words for this long; afterwards they begin a new one. */
const CLOSED_HEARS_MS = days(1)

/** Wording id of what a closed case says when the flow has nothing to say. */
const CLOSED = 'closed'

type MessageBody = Exclude<Incoming['body'], { readonly kind: 'control' }>

/** Most characters of a message that are written down where it could not be read. */
const SAID_MAX = 4_000

export interface WorkerDependencies {
  readonly store: Store
  readonly machine: Machine
  readonly clinic: Clinic
  readonly clock: Clock
  readonly random: Random
  /** A digest of a text in hexadecimal digits, at least 32 of them. */
  readonly hash: (text: string) => string
  readonly understand: Understand
  readonly onFault: OnFault
  /** Called after every durable commit: there may be something to send, or an earlier alarm. */
  readonly committed: () => void
  /** Called when a message could not be stored: the family is to get the fixed text past the outbox. */
  readonly lastResort: (chat: ChatRef) => void
  /** Default {@link QUEUED_MAX}. */
  readonly queuedMax?: number
}

export interface Worker {
  /**
   * Takes one message; resolves once what it led to is committed. The same delivery again changes nothing.
   * @throws Busy when too many wait; NotStored when the store failed. In both cases the message must be sent again.
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
  const codes = new Set<string>()

  const keyOf = ({ channel, chat }: ChatRef) => `${channel}\n${chat}`

  /** Runs under the chat of a case. */
  async function inTurn(caseId: string, work: () => Promise<Applied>): Promise<Applied> {
    const stored = await store.load(caseId)
    return stored === undefined ? { kind: 'no-such-case' } : queue.run(keyOf(stored.chat), work)
  }

  async function take(incoming: Incoming): Promise<void> {
    const cases = await store.casesOf({ channel: incoming.channel, chat: incoming.chat })
    const own = caseIdOf(deps.hash, incoming)
    const { body } = incoming
    const isOther = body.kind === 'control' && body.control === 'new-child'
    const open = cases.filter(each => !each.closed).map(opened)
    const begun = cases.some(each => each.caseId === own)
    const chosen = isOther || begun ? undefined : await chooseCase(open, body, id => store.history(id))
    if (chosen !== undefined) return hear(incoming, chosen.case.stored.caseId, { doubtful: chosen.doubtful })
    const closed = begun ? undefined : cases.find(each => each.closed && clock.now() - each.changedAt < CLOSED_HEARS_MS)
    const beginning = closed !== undefined && isSmall(body) ? undefined : begins(incoming)
    if (closed !== undefined && (beginning === undefined || beginning.isSmall))
      return hear(incoming, closed.caseId, { closed: true })
    await openNew(incoming, own, begun, beginning?.beginning ?? readsNothing(incoming))
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

  /** A message of an open case, or one that a closed case answers. */
  async function hear(
    incoming: Incoming,
    caseId: string,
    how: { doubtful?: boolean; closed?: boolean },
  ): Promise<void> {
    await steps.apply({
      caseId,
      eventFor: ({ state }) =>
        state === undefined ? rawEvent(incoming) : eventOf(incoming, state, how.doubtful === true),
      ...(how.closed === true ? { replyAtLeast: CLOSED } : {}),
      raw: rawEvent(incoming),
      delivery: deliveryOf(incoming),
    })
  }

  function eventOf(incoming: Incoming, state: RunningCase, doubtful: boolean): CaseEvent {
    const { body } = incoming
    if (body.kind === 'control') return eventOfControl(body)
    if (tappedConcern(body) !== undefined) return { kind: 'greeted' }
    const event = read(incoming, body, state)
    if (!doubtful || (event.kind !== 'answerGiven' && event.kind !== 'readBackAnswered')) return event
    if (body.kind === 'choice') return { kind: 'staleAnswer', serial: body.serial, said: event.said }
    return { kind: 'notUnderstood', reason: 'two-answers', said: event.said }
  }

  /** A message that cannot be read goes to a person, and the talk stays where it is. */
  function read(incoming: Incoming, body: MessageBody, state: RunningCase): CaseEvent {
    try {
      return eventOfUnderstood(deps.understand({ body, state, at: madeAt(incoming) }), state)
    } catch (error) {
      deps.onFault({ code: 'understanding-failed', caseId: state.caseId, error })
      return rawEvent(incoming)
    }
  }

  /** What a message begins where no case is open; `isSmall` when a case just closed can answer it as well. */
  function begins(incoming: Incoming): { readonly beginning: Beginning; readonly isSmall: boolean } | undefined {
    const { body } = incoming
    if (body.kind === 'control') return { beginning: beginningOfControl(body, machine.concerns), isSmall: false }
    const concern = tappedConcern(body)
    if (concern !== undefined) return { beginning: beginningOfTap(concern, machine.concerns), isSmall: false }
    try {
      const understood = deps.understand({ body, state: undefined, at: madeAt(incoming) })
      return { beginning: beginningOfUnderstood(understood, machine.concerns), isSmall: isSmallTalk(understood) }
    } catch (error) {
      deps.onFault({ code: 'understanding-failed', error })
      return { beginning: readsNothing(incoming), isSmall: false }
    }
  }

  /** A message that could not be read at all still begins a case: a person sees to it. */
  function readsNothing(incoming: Incoming): Beginning {
    const said = saidIn(incoming)
    return beginningOfUnderstood({ kind: 'misread', reason: 'not-an-option', said }, machine.concerns)
  }

  /**
   * Opens a case. The delivery is written down with the last of its first events, so that a process that dies between
   * two of them goes on where it stopped when the message comes again.
   */
  async function openNew(incoming: Incoming, caseId: string, begun: boolean, beginning: Beginning): Promise<void> {
    const { channel, chat } = incoming
    const [first, ...rest] = beginning.events
    if (first === undefined) return
    if (!begun) {
      const only = rest.length === 0 ? { delivery: deliveryOf(incoming) } : {}
      await steps.begin({
        caseId,
        chat: { channel, chat },
        open: at => drawn(caseId, { channel, chat }, at, beginning),
        event: first,
        ...only,
      })
    }
    for (const [index, event] of rest.entries()) {
      const last = index === rest.length - 1 ? { delivery: deliveryOf(incoming) } : {}
      await steps.apply({ caseId, eventFor: () => event, raw: event, ...last })
    }
  }

  /** A fresh case whose code no other of late has. */
  function drawn(caseId: string, chat: ChatRef, at: Instant, { concern, nickname }: Beginning): RunningCase {
    const name = nickname === undefined ? {} : { nickname }
    const draw = () => machine.openCase({ caseId, chat, at, concern, random4: deps.random.int(10_000), ...name })
    let state = draw()
    for (let again = 0; again < 30 && codes.has(state.code); again += 1) state = draw()
    codes.add(state.code)
    return state
  }

  function actFor({ state, stored }: Loaded, event: CaseEvent): CaseEvent | Refusal {
    if (event.kind !== 'pageAcknowledged') return event
    if (stored.closed) return { kind: 'closed' }
    const holder = state === undefined ? parkedOf(stored.state)?.parked.takenBy : machine.holderOf(state)
    return holder === undefined || holder.id === event.by.id ? event : { kind: 'already-taken-by', by: holder }
  }

  async function stands(row: AlarmRow, state: RunningCase | undefined): Promise<boolean> {
    if (state?.alarms?.[row.name]?.due === row.due) return true
    const due = await store.due(row.due, 10_000)
    return due.some(each => each.caseId === row.caseId && each.name === row.name && each.due === row.due)
  }

  return {
    async receive(incoming) {
      const limit = deps.queuedMax ?? QUEUED_MAX
      if (queue.size >= limit) throw new Busy(queue.size)
      try {
        await queue.run(keyOf(incoming), () => take(incoming))
      } catch (error) {
        deps.onFault({ code: 'store-failed', error })
        deps.lastResort({ channel: incoming.channel, chat: incoming.chat })
        throw new NotStored('worker: a message could not be stored; it must be sent again', { cause: error })
      }
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

/**
 * Id of the case that a message opens: the same for the same delivery, so that a message that comes twice opens one.
 * Says nothing about the chat to whoever reads it.
 */
export function caseIdOf(hash: (text: string) => string, { channel, chat, deliveryId }: Incoming): string {
  return hash(JSON.stringify([channel, chat, deliveryId])).slice(0, 32)
}

const deliveryOf = ({ channel, deliveryId }: Incoming) => ({ channel, deliveryId })

const madeAt = (incoming: Incoming): Instant => incoming.madeAt ?? incoming.at

const saidIn = ({ body }: Incoming): string => (body.kind === 'text' ? body.text.slice(0, SAID_MAX) : '')

/** What is written down of a message to a case that cannot be read: the words, and that a person is wanted. */
function rawEvent(incoming: Incoming): CaseEvent {
  return { kind: 'personWanted', said: saidIn(incoming) }
}

/** Taps and controls that mean something only to the case they came from. */
function isSmall(body: Incoming['body']): boolean {
  if (body.kind === 'choice') return tappedConcern(body) === undefined
  if (body.kind !== 'control') return false
  return (
    body.control !== 'start' &&
    body.control !== 'new-child' &&
    body.control !== 'person' &&
    body.control !== 'cannot-travel'
  )
}

/** Words that name neither a concern nor a danger nor the wish for a person. */
function isSmallTalk(understood: Understood): boolean {
  switch (understood.kind) {
    case 'concern':
    case 'danger':
    case 'person':
    case 'despair':
    case 'cannot-travel':
      return false
    case 'answer':
    case 'read-back':
    case 'stale':
    case 'misread':
    case 'they-rang':
    case 'wrong-tap':
    case 'left':
    case 'arrived':
    case 'change':
      return true
  }
}
