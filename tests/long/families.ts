import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { Agent } from 'node:http'
import { loadavg, tmpdir } from 'node:os'
import { join } from 'node:path'
import { monitorEventLoopDelay } from 'node:perf_hooks'
import { setTimeout as pause } from 'node:timers/promises'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { type Clinicians, clinicians } from './clinicians.ts'
import { draws } from './draws.ts'
import { converse, type FamilyRun, read } from './family.ts'
import { type Chat, type Ledger, newLedger } from './ledger.ts'
import { firstDecisions, noReplyTwice, onceInTheLog } from './promises.ts'
import { openReceivers } from './receivers.ts'
import { CAREGIVERS } from './sayings.ts'
import { clinicFolder, startServer } from './server-process.ts'
import { shippedLines } from './shipped-lines.ts'
import { judge, resultOf } from './verdict.ts'
import { newTraffic, type WebPhone, webPhone } from './web-phone.ts'
import { type FamiliesOptions, type SuiteResult, WITHIN_MS, type World } from './world.ts'

const SAMPLE_EVERY_MS = 30_000
/** Idle connections are closed by the server within this. */
const IDLE_CLOSE_MS = 8_000

/** Families, clinicians and the real process, for as long as asked; then everything that was promised is looked at. */
export async function familiesSuite(options: FamiliesOptions): Promise<SuiteResult> {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-long-'))
  const ledger = newLedger()
  const traffic = newTraffic()
  const agent = new Agent({ keepAlive: true, maxSockets: Number.POSITIVE_INFINITY })
  mkdirSync(join(folder, 'data'))
  const { key } = openDataFolder(join(folder, 'data'), systemRandom())
  let staff: Clinicians | undefined
  const receivers = await openReceivers(`whsec_${key.toString('base64')}`, page => staff?.received(page))
  const server = await startServer({
    data: join(folder, 'data'),
    clinic: clinicFolder(join(folder, 'clinic')),
    outputFile: join(folder, 'server.log'),
    smtpPort: receivers.smtpPort,
    webhookUrl: receivers.webhookUrl,
  })
  staff = clinicians({
    phone: webPhone(server.origin, agent, traffic),
    draws: draws(`${options.seed}.clinicians`),
    ledger,
  })
  const delay = monitorEventLoopDelay({ resolution: 20 })
  delay.enable()
  const endsAt = Date.now() + options.minutes * 60_000
  const isOver = () => Date.now() >= endsAt || server.exited() !== undefined
  const world: World = {
    options,
    server,
    receivers,
    ledger,
    traffic,
    agent,
    endsAt,
    samples: [],
    boardMs: [],
    loads: [],
    delay,
    lines: shippedLines(),
    staff,
    isOver,
  }
  try {
    return await run(world, folder)
  } finally {
    staff.stop()
    agent.destroy()
    if (server.exited() === undefined) await server.stop()
    await receivers.stop()
    if (ledger.broken.length === 0) rmSync(folder, { recursive: true, force: true })
  }
}

async function run(world: World, folder: string): Promise<SuiteResult> {
  const { options, server, ledger, traffic, agent, staff } = world
  const startedAt = Date.now()
  await webPhone(server.origin, agent, traffic).get('/')
  const descriptorsAtStart = server.descriptors()
  const watching = watch(world, startedAt)
  await Promise.all(Array.from({ length: options.families }, (_, family) => live(world, family)))
  const ranMs = Date.now() - startedAt
  staff.stop()
  await watching
  // What is under way arrives; then every log is read once more.
  await pause(WITHIN_MS + 1_000)
  const judgedAt = Date.now()
  const isAlive = server.exited() === undefined
  if (isAlive) await readAllLogs(world)
  const descriptorsIdle = isAlive ? await idleDescriptors(world) : Number.NaN
  const storedBytes = server.storedBytes()
  const exit = server.exited() ?? (await server.stop())
  const seen = { ranMs, judgedAt, storedBytes, descriptorsAtStart, descriptorsIdle, exit, isAlive, folder }
  judge(world, seen)
  if (ledger.broken.length > 0)
    writeFileSync(join(folder, 'broken.json'), JSON.stringify(evidenceOf(ledger), undefined, 1))
  return resultOf(world, seen)
}

/** One family's hour: conversations with rests between; the same phone again, or another family at it. */
async function live(world: World, family: number): Promise<void> {
  const { options, ledger, traffic, agent, server, isOver } = world
  const chance = draws(`${options.seed}.${family}`)
  await waitUntil(Date.now() + chance.unit() * Math.min(60_000, options.minutes * 6_000), isOver)
  for (let nth = 0; !isOver(); nth += 1) {
    const caregiver = chance.pick(CAREGIVERS)
    const seed = `${options.seed}.${family}.${nth}`
    const phone = webPhone(server.origin, agent, traffic)
    const own = draws(seed)
    const chat = newChat(ledger, { family, caregiver: caregiver.name, seed, planted: `zq${own.letters(8)}`, phone })
    const run = {
      chat,
      draws: own,
      ledger,
      thinkSeconds: caregiver.thinkSeconds,
      types: caregiver.types,
      hasScript: own.chance(caregiver.hasScript),
      isOver,
    }
    ledger.count('conversations')
    if (run.hasScript) ledger.count('with the event stream')
    await converse(run).catch(error => ledger.count(`conversation cut: ${(error as Error).message.slice(0, 60)}`))
    await check(world, run)
    await waitUntil(Date.now() + chance.around(40, 0.6, 10, 180) * 1_000, isOver)
  }
}

function newChat(
  ledger: Ledger,
  of: Pick<Chat, 'family' | 'caregiver' | 'seed' | 'planted'> & { phone: WebPhone },
): Chat {
  const chat: Chat = { id: ledger.chats.length, ...of, posts: [], codes: new Set(), transcript: [], decided: [] }
  ledger.chats.push(chat)
  return chat
}

/** Reads a chat's whole log and looks at what concerns it alone. */
async function check({ ledger, lines }: World, run: FamilyRun): Promise<void> {
  const { chat } = run
  const page = await read(run, '/').catch(() => undefined)
  if (page === undefined) return
  ledger.broken.push(
    ...onceInTheLog(chat.posts, page.lines, chat.id),
    ...noReplyTwice(page.lines, chat.id, WITHIN_MS, lines.begins, controlsOf(chat)),
    ...ledger.clinicianWords(chat, page.lines),
  )
  chat.decided = firstDecisions(page.lines, chat.id, lines)
  ledger.count('logs read whole')
}

/** When a family sent what stands in no log in words. */
const controlsOf = ({ posts }: Chat): number[] =>
  posts.flatMap(({ said, sentAt }) => (said === undefined ? [sentAt] : []))

/** Every chat's log once more at the end: nothing that stood there may have gone. */
async function readAllLogs(world: World): Promise<void> {
  for (const chat of world.ledger.chats) {
    if (chat.posts.length === 0) continue
    const run = { chat, draws: draws('end'), ledger: world.ledger, thinkSeconds: 0, types: 0, hasScript: false }
    await check(world, { ...run, isOver: () => true })
  }
}

/** Looks at the process every 30 s, at its board every minute, and says how far the run is. */
async function watch(world: World, startedAt: number): Promise<void> {
  const { server, samples, ledger, traffic, endsAt, isOver, boardMs, loads, agent, options } = world
  const desk = webPhone(server.origin, agent, traffic)
  let nextSampleAt = startedAt
  let looks = 0
  let told = 0
  while (!isOver()) {
    const now = Date.now()
    if (now >= nextSampleAt) {
      nextSampleAt += SAMPLE_EVERY_MS
      samples.push({ at: now, residentMb: server.residentMb(), descriptors: server.descriptors() })
      loads.push(loadavg()[0] ?? 0)
      looks += 1
      if (looks % 2 === 0)
        await desk.get('/board').then(
          ({ tookMs }) => boardMs.push(tookMs),
          () => undefined,
        )
    }
    for (const { promise, chat, what } of ledger.broken.slice(told))
      options.told(`\nBROKEN ${promise}, chat ${chat ?? '-'}: ${what}`)
    told = ledger.broken.length
    const posts = ledger.chats.reduce((sum, chat) => sum + chat.posts.length, 0)
    const line = `${posts} messages, ${ledger.pages.length} pages, ${ledger.broken.length} broken, ${samples.at(-1)?.residentMb.toFixed(0)} MB`
    options.progress(Math.min(1, (now - startedAt) / (endsAt - startedAt)), line)
    await pause(1_000)
  }
}

/** Each promise broken, and what happened in the chats concerned. */
function evidenceOf({ broken, chats }: Ledger) {
  const concerned = chats.filter(({ id }) => broken.some(({ chat }) => chat === id))
  return {
    broken,
    chats: concerned.map(({ id, seed, caregiver, codes, transcript }) => ({
      id,
      seed,
      caregiver,
      codes: [...codes],
      transcript,
    })),
  }
}

async function idleDescriptors({ server, agent }: World): Promise<number> {
  agent.destroy()
  await pause(IDLE_CLOSE_MS)
  return server.descriptors()
}

async function waitUntil(at: number, isOver: () => boolean): Promise<void> {
  while (Date.now() < at && !isOver()) await pause(Math.min(1_000, Math.max(1, at - Date.now())))
}
