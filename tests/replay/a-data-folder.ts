import type { Incoming, Outgoing, Question } from '../../src/case/message.ts'
import type { Channel } from '../../src/channels/channel.ts'
import { openBot } from '../../src/cli/bot.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { boardPager } from '../../src/pagers/board.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { minutes } from '../../src/time/instant.ts'
import { NIGHT } from '../support/a-line.ts'
import { AMARA } from '../support/case-talk.ts'

/** Words of a family that must not be in anything that leaves. */
export const SECRETS = ['Zebedee', '+12125550142', '555-0142', 'Osei', 'Amara']

/** Three families on the whole bot, with its store, outbox, alarms and pages; what is left is the data folder. */
export async function aDataFolder(folder: string): Promise<{ readonly caseIds: readonly string[] }> {
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: NIGHT })
  if (loaded === undefined) throw new Error('the shipped line was expected to load')
  const clock = handClock(NIGHT)
  const received: Outgoing[] = []
  const channel: Channel = {
    id: 'test',
    async deliver(outgoing) {
      received.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => {},
    stop: async () => {},
  }
  const board = boardPager()
  const bot = await openBot({
    ...{ loaded, dataDir: folder, clock, random: systemRandom(), log: () => {}, origin: () => 'http://localhost' },
    channels: [channel],
    pagers: { board, of: () => board, stop: async () => {} },
  })
  let sent = 0
  const send = async (chat: string, body: Incoming['body']) => {
    sent += 1
    await bot.runtime.receive({ channel: 'test', chat, deliveryId: `d${sent}`, at: clock.now(), body })
    await bot.runtime.idle()
  }
  const open = (chat: string): Question | undefined =>
    received
      .filter(outgoing => outgoing.chat === chat)
      .flatMap(({ parts }) => parts)
      .findLast(part => part.kind === 'question')
  const waits = (length: number) => clock.advance(minutes(length), () => bot.runtime.idle())
  await bot.runtime.start()

  await send('one', { kind: 'text', text: 'Zebedee pulled his tube out, I am on +12125550142' })
  for (let count = 0; count < 30; count += 1) {
    const question = open('one')
    if (question === undefined || ['have-you-left', 'have-you-arrived'].includes(question.fact)) break
    const value = question.accepts === 'phone' ? undefined : 'not-sure'
    const body =
      value === undefined
        ? ({ kind: 'text', text: '+12125550142' } as const)
        : ({ kind: 'choice', serial: question.serial, values: [value] } as const)
    await send('one', body)
    if (open('one')?.serial === question.serial) break
  }
  const [first] = await bot.store.casesOf({ channel: 'test', chat: 'one' })
  await bot.runtime.act(first?.caseId ?? '', {
    kind: 'pageAcknowledged',
    by: AMARA,
    doing: { kind: 'ringing-now' },
  })
  await bot.runtime.act(first?.caseId ?? '', { kind: 'clinicianWrote', by: AMARA, text: 'I ring you now, Zebedee.' })
  await waits(5)

  // Nobody answers, and nobody comes: the whole ladder.
  await send('two', { kind: 'text', text: 'he is floppy and I cannot wake him' })
  await waits(30)

  await send('three', { kind: 'choice', serial: 0, values: ['leaking'] })
  await send('three', { kind: 'text', text: 'what do you mean' })
  await waits(2)
  await send('one', { kind: 'text', text: 'thank you' })
  const cases = await bot.store.recent(NIGHT)
  await bot.stop()
  return { caseIds: cases.map(({ caseId }) => caseId) }
}
