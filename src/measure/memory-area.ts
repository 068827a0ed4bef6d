import { join } from 'node:path'
import type { Lane, Store } from '../store/store.ts'
import { after, type Instant, minutes } from '../time/instant.ts'
import { type Conversation, recordedConversation } from './conversation.ts'
import { figureOf, type Measured, median } from './figure.ts'
import { browser, startBare, startBot } from './process.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext, Subject } from './subject.ts'

const OPEN_CASES = 10_000
/** Steps each of them has had. */
const STEPS = 5
const FAMILIES = 20
const MESSAGES_EACH = 10
const AT_ONCE = 500

/**
 * Memory of the real process that finds ten thousand open cases, takes them up, and serves two hundred messages. Their
 * alarms are still to come and what they were told was sent.
 */
export async function memoryArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const cache = ground.folder()
  progress.says(`memory: writing ${OPEN_CASES} open cases`)
  // Alarms of an hour that has not come: none is due while this is measured.
  const at = after(subject.clock.now(), minutes(60))
  await filled(subject, folder, await recordedConversation(subject, ground, at), at)

  async function ours(): Promise<number> {
    const bot = await startBot({ launcher: subject.launcher, cache, data: join(folder, 'data') }, ground)
    await Promise.all(Array.from({ length: FAMILIES }, () => talk(bot.origin)))
    const resident = bot.residentMb()
    await bot.stop()
    return resident
  }

  async function peer(): Promise<number> {
    const bare = await startBare(cache, ground)
    for (let request = 0; request < FAMILIES * MESSAGES_EACH; request += 1)
      await (await fetch(`${bare.origin}/`)).text()
    const resident = bare.residentMb()
    await bare.stop()
    return resident
  }

  const resident = await interleaved({ ours, peer }, { what: 'memory', progress })
  ground.removeFolder(folder)
  return [
    figureOf(
      {
        area: 'memory',
        name: `resident memory with ${OPEN_CASES} open cases, after ${FAMILIES * MESSAGES_EACH} messages`,
        unit: 'megabytes',
        bound: 'most',
        target: 150,
        against: `node:http alone, node ${process.versions.node}, after as many requests: ${median(resident.peer).toFixed(0)} megabytes in this run`,
      },
      resident.ours,
    ),
  ]
}

async function talk(origin: string): Promise<void> {
  const visitor = browser(origin)
  await visitor.open()
  await visitor.say('her button came out')
  for (let message = 1; message < MESSAGES_EACH; message += 1) await visitor.say('not sure')
}

/** Cases as the bot leaves them in the middle of a conversation, written through the store's own port. */
async function filled(subject: Subject, folder: string, conversation: Conversation, at: Instant): Promise<void> {
  const store = await subject.openStore(folder)
  for (let from = 0; from < OPEN_CASES; from += AT_ONCE) {
    const cases = Array.from({ length: AT_ONCE }, (_, place) => conversation.of(`${from + place}`).slice(0, STEPS))
    for (let turn = 0; turn < STEPS; turn += 1) {
      await Promise.all(cases.flatMap(steps => steps.slice(turn, turn + 1).map(step => store.commit(step))))
    }
    for (const lane of ['family', 'page'] as const) await allSent(store, lane, at)
  }
  await store.close()
}

/** Marks everything that waits to be sent as sent, with a text as long as a reply's. */
async function allSent(store: Store, lane: Lane, at: Instant): Promise<void> {
  const later = after(at, minutes(1))
  for (;;) {
    const rows = await store.claim(lane, later, minutes(1), AT_ONCE)
    if (rows.length === 0) return
    await Promise.all(
      rows.map(async ({ effectId }) => {
        await store.rendered(effectId, JSON.stringify({ text: 'x'.repeat(1_500) }), later)
        await store.settle(effectId, { kind: 'sent', at: later })
      }),
    )
  }
}
