import { execFileSync } from 'node:child_process'
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { openSealedData } from '../../src/cli/sealed-data.ts'
import type { StoreRoute } from '../../src/config/store-section.ts'
import type { Clock } from '../../src/runtime/clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { openTelegramFile } from '../../src/store/sqlite/telegram-file.ts'
import { instant } from '../../src/time/instant.ts'
import { type BotApi, botApi } from '../support/bot-api/bot-api.ts'
import type { Phone, Shown } from '../support/bot-api/phone.ts'
import { freePort } from '../support/free-port.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { saidTo, spoken } from '../support/telegram-night.ts'
import { type Keeper, keep, SPEED } from './kill-keeper.ts'
import { doneIn } from './kill-record.ts'
import { clinicWith, eventually, NIGHT, newFolder, pause, root } from './process.ts'

type Updates = 'polling' | 'webhook'
type Kept = 'sqlite' | 'redis'
/** How updates come, where the process is killed, where its cases lie. */
type Plan = readonly [updates: Updates, kill: string, kept: Kept]

/** Killed after the commit and before it is confirmed, before the commit, and after a reply left and before that is written down. */
const SHORT: readonly Plan[] = [
  ['polling', 'worker.committed#3', 'sqlite'],
  ['webhook', 'store.before-commit#6', 'sqlite'],
  ['polling', 'outbox.family.sent#3', 'sqlite'],
]
/** At every step of a message, a reply and a page, each way. Redis has no transaction of ours to be killed in: its one command is done or not. */
const POINTS = [
    'worker.received#1', 'worker.received#4', 'worker.loaded#3', 'worker.stepped#4', 'worker.committed#1', 'worker.committed#5',
    'store.begun#3', 'store.step-written#5', 'store.before-commit#7', 'store.after-commit#9', 'store.before-answer#6',
    'outbox.family.claimed#2', 'outbox.family.rendered#3', 'outbox.family.kept#4', 'outbox.family.sent#1', 'outbox.family.settled#5',
    'outbox.page.claimed#1', 'outbox.page.kept#1', 'outbox.page.sent#1', 'outbox.page.settled#1', 'any#60', 'any#140',
] as const // biome-ignore format: one list
const WAYS = [
  ['polling', 'redis'],
  ['polling', 'sqlite'],
  ['webhook', 'sqlite'],
] as const
const LONG: readonly Plan[] = WAYS.flatMap(([updates, kept]) =>
  POINTS.filter(kill => kept === 'sqlite' || !kill.startsWith('store.')).map(kill => [updates, kill, kept] as const),
)
const isLong = process.env.LONG === '1'
const plans = isLong ? LONG : SHORT

const AMARA = 80_001
/** The long run is made beside other work. */
const STEP_MS = isLong ? 150_000 : 50_000
/** What the family and the clinician did, as the record must have it: each once, in this order. */
const DONE = [
  /^caseOpened: her tube has just come out$/,
  /^answerGiven: Nothing\. It is empty$/,
  /^answerGiven: None of these$/,
  /^answerGiven: Long tube, held by a balloon$/,
  /^answerGiven: Up to half an hour ago$/,
  /^answerGiven: Up to 30 minutes$/,
  /^answerGiven: 202 555 0142$/,
  /^answerGiven: 1 to 6 weeks ago$/,
  /^pageAcknowledged by amara$/,
]

/** Said past the store on a machine too busy to keep a message in time: it belongs to no reply, and is owed to nobody. */
const LAST_RESORT = /Something is wrong with this line/

/** Runs at once, each with a process of its own. */
const AT_ONCE = isLong ? 2 : 1

/** One run as it ended. */
interface Run {
  readonly done: readonly string[]
  readonly replies: readonly string[]
  readonly shown: readonly string[]
  /** Texts that say that they may have come before: of a reply that a picture parts, its words alone may. */
  readonly labelled: number
  readonly pages: readonly string[]
  readonly killedAt: string | undefined
  readonly faults: readonly string[]
}

describe('a family on Telegram, and a bot that is killed', () => {
  const runs = new Map<string, Run | string>()
  let redis: RedisServer | undefined
  afterAll(() => redis?.discard())

  beforeAll(
    async () => {
      if (plans.some(([, , kept]) => kept === 'redis')) redis = await redisServer()
      const left = [...plans]
      const work = async (): Promise<void> => {
        for (let plan = left.shift(); plan !== undefined; plan = left.shift()) {
          runs.set(plan.join(), await run(plan, redis).catch((error: unknown) => String(error)))
          if (isLong) console.log(`${runs.size} of ${plans.length} runs: ${plan.join(', ')}`)
        }
      }
      await Promise.all(Array.from({ length: AT_ONCE }, work))
      if (isLong) writeFigures(runs)
    },
    isLong ? 5_400_000 : 180_000,
  )

  test.each(plans)('by %s, killed at %s, its cases in %s: nothing is lost, and what comes twice says so', (...plan) => {
    const found = runs.get(plan.join())
    if (found === undefined || typeof found === 'string') throw new Error(found ?? 'it was not begun')
    // A press may come twice where the question was asked anew after an outage: it is told to be late, and changes nothing.
    const counted = found.done.filter(one => !/^(staleAnswer|greeted)/.test(one))
    expect(counted).toHaveLength(DONE.length)
    for (const [index, expected] of DONE.entries()) expect(counted[index]).toMatch(expected)
    expect(found.replies.filter(status => status !== 'sent')).toEqual([])
    const twice = found.shown.length - found.replies.length
    expect(twice).toBeGreaterThanOrEqual(0)
    expect(twice).toBeLessThanOrEqual(1)
    expect(found.labelled).toBeGreaterThanOrEqual(twice)
    expect(found.pages.slice(1).every(text => /May be a repeat|AGAIN|UPDATE|told/.test(text))).toBe(true)
    expect(found.killedAt).toBeDefined()
    expect(found.faults).toEqual([])
  })
})

async function run([updates, kill, kept]: Plan, redis: RedisServer | undefined): Promise<Run> {
  const folder = newFolder()
  const api = await botApi({ clock: nightClock() })
  const port = await freePort()
  const dataDir = join(folder.path, 'data')
  link(dataDir)
  const store = kept === 'redis' && redis !== undefined ? storeAt(redis.port) : undefined
  const keeper = keep({ folder: folder.path, clinic: clinicOf(folder.path, api, updates, store), port, kills: [kill] })
  try {
    const family = api.user(90_001)
    const amara = api.user(AMARA)
    await converse(keeper, family, amara)
    await eventually('the kill', async () => keeper.lives.length > 0, STEP_MS)
    await keeper.up()
    await eventually('nothing left to deliver', async () => api.pending() === 0, STEP_MS)
    const record = await wholeRecord(keeper, dataDir, store)
    return {
      ...record,
      shown: wholeReplies(saidTo(family)).filter(text => !LAST_RESORT.test(text)),
      labelled: repeats(spoken(family)),
      pages: saidTo(amara).flatMap(({ buttons, text }) => (buttons.length === 4 ? [text] : [])),
      killedAt: keeper.lives[0]?.killed?.point,
      faults: api.faults,
    }
  } catch (error) {
    throw new Error(`${String(error)}; the process wrote: ${keeper.output()}`, { cause: error })
  } finally {
    await keeper.stop().catch(() => undefined)
    await api.stop()
    folder.remove()
  }
}

/** The record when every reply has left: one that waited when the process was stopped leaves in its next life. */
async function wholeRecord(keeper: Keeper, dataDir: string, store: StoreRoute | undefined) {
  const until = Date.now() + STEP_MS
  for (;;) {
    await keeper.stop()
    const record = await recordIn(dataDir, store)
    if (!record.replies.includes('waiting') || Date.now() > until) return record
    keeper.again()
    await keeper.up()
    await pause(1_000)
  }
}

/** A picture parts its reply: the words before it, which have no buttons, and the question after it are one. */
const wholeReplies = (shown: readonly Shown[]): readonly string[] =>
  shown.flatMap(({ photo, text, buttons }, index) =>
    photo || (buttons.length === 0 && shown[index + 1]?.photo === true) ? [] : [text],
  )

async function converse(keeper: Keeper, family: Phone, amara: Phone): Promise<void> {
  /** Presses a button; once more where the question was asked anew meanwhile, as after an outage. */
  const tap = async (phone: Phone, label: string, then: () => boolean): Promise<void> => {
    let pressedOn = 0
    await eventually(
      `what follows "${label}"; the last was: ${spoken(phone).at(-1)}`,
      async () => {
        await keeper.up()
        const at = phone.find(label)
        if (at !== undefined && at.id > pressedOn) {
          pressedOn = at.id
          phone.taps(label)
        }
        return pressedOn > 0 && then()
      },
      STEP_MS,
    )
  }
  const read = (words: RegExp) => () => spoken(family).some(text => words.test(text))
  family.says('her tube has just come out')
  await tap(family, 'Nothing. It is empty', read(/Look at your child now/))
  await tap(family, 'None of these', () => family.find('Long tube, held by a balloon') !== undefined)
  await tap(family, 'Long tube, held by a balloon', () => family.find('Up to half an hour ago') !== undefined)
  await tap(family, 'Up to half an hour ago', () => family.find('Up to 30 minutes') !== undefined)
  await tap(family, 'Up to 30 minutes', read(/What number can a clinician ring you on/))
  family.says('202 555 0142')
  await tap(family, '1 to 6 weeks ago', () => amara.find('Ringing now') !== undefined)
  await tap(amara, 'Ringing now', read(/Amara Osei, feeding nurse, has taken this on/))
}

const repeats = (texts: readonly string[]): number => texts.filter(text => REPEATED.test(text)).length
const REPEATED = /You may have seen this before/

/** What each run came to, beside the other figures of long suites. */
function writeFigures(runs: ReadonlyMap<string, Run | string>): void {
  const commit = execFileSync('git', ['rev-parse', 'HEAD'], { cwd: root, encoding: 'utf8' }).trim()
  const rows = [...runs].map(([name, found]) =>
    typeof found === 'string'
      ? { run: name, broken: found.split('\n')[0] }
      : {
          ...{ run: name, killedAt: found.killedAt, done: found.done.length, replies: found.replies.length },
          ...{ shown: found.shown.length, labelled: found.labelled, pages: found.pages.length },
        },
  )
  const figures = { suite: 'telegram-kills', date: new Date().toISOString(), commit, node: process.version, rows }
  writeFileSync(join(root, 'docs/figures/telegram-kills.json'), `${JSON.stringify(figures, null, 2)}\n`)
}

/** The night of the process: the same speed, from about the same moment. */
function nightClock(): Clock {
  const startedAt = Date.now()
  const passed = () => (Date.now() - startedAt) * SPEED
  return {
    now: () => instant(NIGHT + passed()),
    monotonicMs: passed,
    wake(atMs, fn) {
      const timer = setTimeout(fn, Math.max(0, (atMs - passed()) / SPEED))
      return () => clearTimeout(timer)
    },
  }
}

let lines = 0
/** A line of its own on the server. */
function storeAt(port: number): StoreRoute {
  lines += 1
  const addresses = [{ host: '127.0.0.1', port }]
  return { addresses, tls: false, line: `kill${lines}-`, mayLoseASecond: false, replicas: 0 }
}

function clinicOf(folder: string, api: BotApi, updates: Updates, store: StoreRoute | undefined): string {
  const made = clinicWith(join(folder, 'clinic'), '  ladder-urgent: [PT3M, PT5M, PT10M]\n', yaml => {
    const paged = yaml.replaceAll('- { pager: webhook, address: "demo:" }', '- { pager: telegram }')
    return `${paged}\ntelegram: { token-file: telegram-token, updates: ${updates}, families-may-write: yes, server: "${api.root}" }\n${storeYaml(store)}`
  })
  writeFileSync(join(made, 'telegram-token'), api.token, { mode: 0o600 })
  return made
}

const storeYaml = (store: StoreRoute | undefined): string =>
  store === undefined ? '' : `store: { redis: "redis://127.0.0.1:${store.addresses[0]?.port}", line: ${store.line} }\n`

/** Amara's account is linked beforehand. */
function link(dataDir: string): void {
  mkdirSync(dataDir, { recursive: true, mode: 0o700 })
  const file = openTelegramFile(join(dataDir, 'telegram.sqlite'))
  file.keepCode('code', 'amara', instant(NIGHT), instant(NIGHT + 1_000))
  file.redeem('code', String(AMARA), instant(NIGHT))
  file.close()
}

async function recordIn(
  dataDir: string,
  route: StoreRoute | undefined,
): Promise<{ readonly done: readonly string[]; readonly replies: readonly string[] }> {
  const failed = (error: unknown) => {
    throw error
  }
  const { store } = await openSealedData({
    ...{ data: openDataFolder(dataDir, systemRandom()), mode: 'demonstration', onFault: failed },
    ...(route === undefined ? {} : { store: route }),
    onUnreadable: ({ error }) => failed(error),
  })
  try {
    const cases = await store.recent(instant(0))
    expect(cases).toHaveLength(1)
    const { caseId = '' } = cases[0] ?? {}
    const rows = (await store.outboxOf(caseId)).filter(({ lane }) => lane === 'family')
    return { done: (await store.history(caseId)).flatMap(doneIn), replies: rows.map(({ status }) => status) }
  } finally {
    await store.close()
  }
}
