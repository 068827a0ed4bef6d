import type { Incoming, Outgoing, Question } from '../case/message.ts'
import type { Channel } from '../channels/channel.ts'
import type { Pager } from '../pagers/pager.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Fault } from '../runtime/fault.ts'
import { lineMachine } from '../runtime/line-machine.ts'
import { createRuntime, type Runtime } from '../runtime/runtime.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Store } from '../store/store.ts'
import { seeded } from './seeded.ts'
import type { Subject } from './subject.ts'

const CHANNEL = 'web'

/** The whole runtime with real flows and a real store; the channel and the pagers take everything at once. */
export interface InProcess {
  readonly runtime: Runtime
  /** One family: sends and remembers what it is asked. */
  family(chat: string): Family
  /** Everything that went wrong. A measurement of a bot that fails is none. */
  readonly faults: readonly Fault[]
  stop(): Promise<void>
}

export interface Family {
  /** The last question put to it. */
  readonly question: Question | undefined
  /** Sends one message; milliseconds until the reply to it was handed to the channel. */
  send(body: Incoming['body']): Promise<number>
}

export async function inProcess(subject: Subject, store: Store, clock: Clock): Promise<InProcess> {
  const faults: Fault[] = []
  const hear = new Map<string, (outgoing: Outgoing) => void>()
  const channel: Channel = {
    id: CHANNEL,
    deliver: async outgoing => {
      hear.get(outgoing.chat)?.(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => undefined,
    stop: async () => undefined,
  }
  const pager: Pager = { id: 'any', page: async () => ({ kind: 'accepted' }), stop: async () => undefined }
  const runtime = createRuntime({
    store,
    machine: lineMachine(subject.line),
    clinic: () => subject.line.clinic,
    clock,
    random: seeded(1),
    hash: sha256,
    understand: subject.understand,
    channelOf: () => channel,
    pagerOf: () => pager,
    fitPage: (pieces, link) => [...pieces, link].join(' '),
    pageLink: ({ pageId }) => `http://localhost/p/${pageId}`,
    healthLink: () => 'http://localhost/health',
    onFault: fault => faults.push(fault),
    lastAlive: { read: async () => undefined, write: async () => undefined },
    askedAgainAfter: subject.line.settings['asked-again-after'],
  })
  await runtime.start()

  function family(chat: string): Family {
    let question: Question | undefined
    let sent = 0
    let replied: (() => void) | undefined
    hear.set(chat, outgoing => {
      question = outgoing.parts.find(part => part.kind === 'question')
      replied?.()
    })
    return {
      get question() {
        return question
      },
      async send(body) {
        sent += 1
        const reply = new Promise<void>(resolve => {
          replied = resolve
        })
        const started = performance.now()
        await runtime.receive({ channel: CHANNEL, chat, deliveryId: `${chat}.${sent}`, at: clock.now(), body })
        await reply
        return performance.now() - started
      },
    }
  }

  return {
    runtime,
    family,
    faults,
    async stop() {
      await runtime.stop()
      if (faults.length > 0) {
        throw new Error(
          `measure: the bot met ${faults.length} faults, the first is ${faults[0]?.code}; none was expected`,
        )
      }
    },
  }
}

/** What a family that knows all answers taps, where the first option would end the talk early. */
const TAPPED: Readonly<Record<string, string>> = { 'danger-signs': 'none', 'in-opening': 'nothing' }

/** A tap that answers the question: the one that keeps the talk going, or else the first. */
export function tapFor(question: Question): Incoming['body'] {
  const wanted = TAPPED[question.fact]
  const option = question.options.find(({ value }) => value === wanted) ?? question.options[0]
  if (option === undefined) throw new Error(`measure: the question about "${question.fact}" has no button to tap`)
  return { kind: 'choice', serial: question.serial, values: [option.value] }
}

/** The words a family begins with. */
export const FIRST_WORDS: Incoming['body'] = { kind: 'text', text: 'her button came out and I do not know what to do' }
