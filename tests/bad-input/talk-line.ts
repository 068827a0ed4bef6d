import type { Incoming, Outgoing } from '../../src/case/message.ts'
import type { CaseState } from '../../src/case/state.ts'
import type { Channel } from '../../src/channels/channel.ts'
import type { LoadedLine } from '../../src/cli/load-line.ts'
import type { Page, Pager } from '../../src/pagers/pager.ts'
import type { Fault } from '../../src/runtime/fault.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { lineMachine } from '../../src/runtime/line-machine.ts'
import { lineUnderstanding } from '../../src/runtime/line-understanding.ts'
import { createRuntime } from '../../src/runtime/runtime.ts'
import { sha256 } from '../../src/runtime/system-clock.ts'
import type { Instant } from '../../src/time/instant.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { memoryStore } from '../support/memory-store.ts'
import { seededRandom } from '../support/world.ts'

/** The real flows, words and runtime over a store in memory, at a moment that stands still. */
export interface TalkLine {
  /** Hands one message in and lets everything it started come to rest. */
  receive(chat: string, deliveryId: string, body: Incoming['body']): Promise<void>
  /** States of a chat's cases, oldest first; undefined where one cannot be read. */
  states(chat: string): Promise<readonly CaseState[]>
  readonly delivered: readonly Outgoing[]
  readonly paged: readonly Page[]
  readonly faults: readonly Fault[]
  stop(): Promise<void>
}

export async function talkLine({ line, lexicon }: LoadedLine, at: Instant): Promise<TalkLine> {
  const clock = handClock(at)
  const store = memoryStore()
  const delivered: Outgoing[] = []
  const paged: Page[] = []
  const faults: Fault[] = []
  const channel: Channel = {
    id: 'web',
    async deliver(outgoing) {
      delivered.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => {},
    stop: async () => {},
  }
  const pager: Pager = {
    id: 'listed',
    async page(page) {
      paged.push(page)
      return { kind: 'accepted' }
    },
    stop: async () => {},
  }
  let alive: Instant | undefined
  const runtime = createRuntime({
    store,
    machine: lineMachine(line),
    clinic: () => line.clinic,
    clock,
    random: seededRandom(1),
    hash: sha256,
    understand: lineUnderstanding(line, {
      lexicons: new Map([['en', lexicon]]),
      defaultRegion: 'US',
      times: { readMoment, readDate, readDuration },
    }),
    channelOf: () => channel,
    pagerOf: () => pager,
    fitPage: (pieces, link) => [...pieces, link].join(' '),
    pageLink: ({ pageId }) => `https://clinic.example/p/${pageId}`,
    healthLink: () => 'https://clinic.example/health',
    onFault: fault => void faults.push(fault),
    lastAlive: {
      read: async () => alive,
      write: async now => {
        alive = now
      },
    },
    askedAgainAfter: line.settings['asked-again-after'],
  })
  await runtime.start()
  return {
    delivered,
    paged,
    faults,
    async receive(chat, deliveryId, body) {
      await runtime.receive({ channel: 'web', chat, deliveryId, at: clock.now(), body })
      await runtime.idle()
    },
    async states(chat) {
      const cases = await store.casesOf({ channel: 'web', chat })
      return cases.map(({ state }) => JSON.parse(state) as CaseState).toReversed()
    },
    stop: () => runtime.stop(),
  }
}
