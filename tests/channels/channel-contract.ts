import { describe, expect, it } from 'vitest'
import type { Incoming, Outgoing, Part } from '../../src/case/message.ts'
import type { Channel, Delivery } from '../../src/channels/channel.ts'
import { instant } from '../../src/time/instant.ts'

/** What can happen to a send on its way; a channel that hands nothing to another machine knows none. */
export type Trouble = 'gone' | 'busy' | 'lost-answer' | 'unreachable'

/** A channel with a person at its other end. */
export interface ChannelBench {
  readonly channel: Channel
  /** Everything the person can read, and press, of what was delivered. */
  reads(): Promise<string>
  /** The person writes; resolves when the channel has handed it in. */
  says(text: string): Promise<void>
  /** The person chooses the option of this label of the question that was delivered last. */
  chooses(label: string): Promise<void>
  /** The very same delivery once more, as its transport may do it. Left out where the transport cannot. */
  againSame?(): Promise<void>
  /** The next send meets this. */
  trouble?(what: Trouble): void
  readonly troubles: readonly Trouble[]
  /** A person's words stand in an element of their own, in which a browser ends what turns direction. */
  readonly isolatesWords?: boolean
  /** What was handed in, oldest first. */
  readonly received: Incoming[]
  readonly chat: string
  stop(): Promise<void>
}

const QUESTION: Part = {
  ...{
    kind: 'question',
    serial: 4,
    fact: 'in-opening',
    text: 'What is in the opening?',
    several: false,
    accepts: 'words',
  },
  options: [
    { value: 'nothing', label: 'Nothing' },
    { value: 'tube', label: 'A tube' },
    { value: 'not-sure', label: 'Not sure', apart: true },
  ],
}
const PARTS: readonly Part[] = [
  { kind: 'withdrawn', id: 'w', text: 'Stop: do not flush it.', tags: [] },
  { kind: 'advice', id: 'a', text: 'Cover the opening.', tags: ['cover-opening'] },
  { kind: 'advice', id: 'b', text: 'Stop the feed.', tags: ['stop-feed'] },
  { kind: 'notice', id: 'n', text: 'Thank you.' },
  QUESTION,
]

let replies = 0
export const reply = (chat: string, channel: string, more: Partial<Outgoing> = {}): Outgoing => {
  replies += 1
  const effectId = `c.2.${replies}`
  return { channel, chat, caseId: 'c', effectId, at: instant(0), parts: PARTS, repeated: false, audible: true, ...more }
}

const OUTCOMES: Readonly<Record<Trouble, readonly Delivery['kind'][]>> = {
  gone: ['refused'],
  busy: ['failed'],
  // Nobody can know whether it arrived, and a channel must not say that it did not.
  'lost-answer': ['unknown'],
  unreachable: ['failed', 'unknown'],
}

/** What every way to families must hold. */
export function channelContract(name: string, make: () => Promise<ChannelBench>): void {
  describe(`${name}: what every channel holds`, { timeout: 30_000 }, () => {
    const using = async (work: (bench: ChannelBench) => Promise<void>): Promise<void> => {
      const bench = await make()
      try {
        await work(bench)
      } finally {
        await bench.stop()
      }
    }
    const deliver = ({ channel, chat }: ChannelBench, more: Partial<Outgoing> = {}) =>
      channel.deliver(reply(chat, channel.id, more))

    it('a reply is read whole and in order: what is taken back, advice, the one question with its options, the numbers', () =>
      using(async bench => {
        expect(await deliver(bench)).toEqual({ kind: 'delivered' })
        const read = await bench.reads()
        const places = [
          'Stop: do not flush it.',
          'Cover the opening.',
          'Stop the feed.',
          'What is in the opening?',
          'Nothing',
          'A tube',
          'Not sure',
        ]
        expect(
          places
            .map(words => read.indexOf(words))
            .every((at, i, all) => at >= 0 && (i === 0 || at > (all[i - 1] ?? 0))),
        ).toBe(true)
        expect(read).toContain('555-0111')
        expect(read).toContain('202-555-0123')
      }))

    it('a clinician’s words stand with name and job', () =>
      using(async bench => {
        await deliver(bench, {
          parts: [{ kind: 'person', name: 'Amara Osei', role: 'nurse', text: 'I am ringing you.' }],
        })
        const read = await bench.reads()
        expect(read).toMatch(/Amara Osei, nurse/)
        expect(read).toContain('I am ringing you.')
      }))

    it('words steer no screen: control characters and marks that turn direction do not arrive as such', () =>
      using(async bench => {
        await deliver(bench, { parts: [{ kind: 'person', name: 'A\u001b[2J', role: 'nurse', text: 'hi\u202e there' }] })
        if (bench.isolatesWords === true) return
        const read = await bench.reads()
        expect(['\u001b', '\u202e'].filter(sign => read.includes(sign))).toEqual([])
      }))

    it('what is written is handed in as it was written, from its chat, each message by its own delivery', () =>
      using(async bench => {
        await bench.says('her tube came out')
        await bench.says('it bleeds')
        expect(bench.received.map(({ body }) => body)).toEqual([
          { kind: 'text', text: 'her tube came out' },
          { kind: 'text', text: 'it bleeds' },
        ])
        expect(new Set(bench.received.map(({ deliveryId }) => deliveryId)).size).toBe(2)
        for (const { channel, chat } of bench.received) expect([channel, chat]).toEqual([bench.channel.id, bench.chat])
      }))

    it('an option that is chosen arrives as the question’s serial and the option’s value', () =>
      using(async bench => {
        await deliver(bench)
        await bench.chooses('A tube')
        expect(bench.received.at(-1)?.body).toEqual({ kind: 'choice', serial: 4, values: ['tube'] })
        await bench.chooses('Not sure')
        expect(bench.received.at(-1)?.body).toEqual({ kind: 'choice', serial: 4, values: ['not-sure'] })
      }))

    it('the same delivery brought twice carries the same id, where the transport can bring it twice', () =>
      using(async bench => {
        if (bench.againSame === undefined) return
        await bench.says('her tube came out')
        await bench.againSame()
        expect(bench.received).toHaveLength(2)
        expect(bench.received[1]?.deliveryId).toBe(bench.received[0]?.deliveryId)
      }))

    it('every trouble on the way is a value that tells the truth; afterwards it delivers again', () =>
      using(async bench => {
        for (const trouble of bench.troubles) {
          bench.trouble?.(trouble)
          const outcome = await deliver(bench)
          expect(OUTCOMES[trouble], trouble).toContain(outcome.kind)
          if (outcome.kind !== 'delivered') expect(outcome.reason, trouble).not.toContain(bench.chat)
        }
        if (!bench.troubles.includes('busy')) expect(await deliver(bench)).toEqual({ kind: 'delivered' })
      }))

    it('stopping twice is stopping once', () =>
      using(async bench => {
        await bench.channel.stop()
        await bench.channel.stop()
      }))
  })
}
