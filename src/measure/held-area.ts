import { readdirSync, statSync } from 'node:fs'
import { join } from 'node:path'
import type { WholeStore } from '../store/store.ts'
import { after, days } from '../time/instant.ts'
import { recordedConversation } from './conversation.ts'
import { figureOf, type Measured } from './figure.ts'
import { startRedis } from './redis-server.ts'
import { committed } from './steps.ts'
import type { AreaContext } from './subject.ts'

const CASES = 100_000
const ALARMS_EACH = 3
/** Cases opened at a time. */
const AT_ONCE = 500
const LOOKS = 100
/** A gigabyte is to hold a hundred thousand open cases. */
const BYTES_MOST = 10_000
/** The one step of a case that is left out of what is counted: its reply and its page are sent within a minute. */
const SENT: readonly never[] = []

/**
 * A hundred thousand open cases with three alarms each, held at once in each store: what one takes, and whether the alarms
 * still find what is due at once.
 */
export async function heldArea(context: AreaContext): Promise<readonly Measured[]> {
  return [...(await inFile(context)), ...(await inRedis(context))]
}

async function inFile(context: AreaContext): Promise<readonly Measured[]> {
  const { subject, ground } = context
  const folder = ground.folder()
  const store = await subject.openStore(folder)
  await hold(context, store, 'SQLite')
  const looked = await looks(context, store)
  await store.close()
  const bytes = bytesIn(folder)
  ground.removeFolder(folder)
  return figures(
    'SQLite',
    bytes,
    looked,
    `node:sqlite ${process.versions.sqlite ?? ''}, files of the folder when it is closed`,
  )
}

async function inRedis(context: AreaContext): Promise<readonly Measured[]> {
  const { subject, ground } = context
  const redis = await startRedis(ground, 'no', subject.clock)
  const folder = ground.folder()
  const store = await subject.openRedisStore(join(folder, 'data'), redis.port)
  const before = await redis.usedBytes()
  await hold(context, store, 'Redis')
  const looked = await looks(context, store)
  const bytes = (await redis.usedBytes()) - before
  await store.close()
  redis.stop()
  ground.removeFolder(folder)
  return figures('Redis', bytes, looked, `${redis.name}, used_memory`)
}

const figures = (store: string, bytes: number, looked: readonly number[], what: string): readonly Measured[] => [
  figureOf(
    {
      area: 'held',
      name: `bytes of an open case in ${store}, ${CASES} of them with ${ALARMS_EACH} alarms each`,
      unit: 'bytes',
      bound: 'most',
      target: BYTES_MOST,
      against: `no peer: ${what}`,
    },
    [bytes / CASES],
  ),
  figureOf(
    {
      area: 'held',
      name: `a look for due alarms in ${store} with ${CASES * ALARMS_EACH} outstanding`,
      unit: 'milliseconds',
      bound: 'most',
      target: 10,
      against: `no peer: the middle one of ${LOOKS} looks, of which the alarms need one a second`,
    },
    looked,
  ),
]

/** The first step of a real conversation, as of a case whose messages were sent, with alarms that are due in a month. */
async function hold({ subject, ground, progress }: AreaContext, store: WholeStore, name: string): Promise<void> {
  const now = subject.clock.now()
  const conversation = await recordedConversation(subject, ground, now)
  const set = Array.from({ length: ALARMS_EACH }, (_, place) => ({
    name: `later-${place}`,
    due: after(now, days(30 + place)),
  }))
  for (let from = 0; from < CASES; from += AT_ONCE) {
    if (from % 20_000 === 0) progress.says(`held: ${from} of ${CASES} cases in ${name}`)
    await Promise.all(
      Array.from({ length: AT_ONCE }, (_, place) => {
        const [first] = conversation.of(`${from + place}`, 1)
        if (first === undefined) throw new Error('measure: a conversation has no first step')
        return committed(store, { ...first, outbox: SENT, alarms: { set, cancel: [] } })
      }),
    )
  }
}

async function looks({ subject }: AreaContext, store: WholeStore): Promise<readonly number[]> {
  const took: number[] = []
  for (let look = 0; look < LOOKS; look += 1) {
    const started = performance.now()
    const [rows] = [await store.due(subject.clock.now(), 128), await store.nextDue()]
    took.push(performance.now() - started)
    if (rows.length > 0) throw new Error('measure: an alarm is due that was set for next month')
  }
  return took
}

const bytesIn = (folder: string): number =>
  readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter(entry => entry.isFile())
    .reduce((sum, entry) => sum + statSync(join(entry.parentPath, entry.name)).size, 0)
