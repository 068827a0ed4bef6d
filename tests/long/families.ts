import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { Agent } from 'node:http'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { parse } from 'yaml'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { moved } from './call-outs.ts'
import { type Clinicians, clinicians } from './clinicians.ts'
import { draws } from './draws.ts'
import { converse, type FamilyRun, read } from './family.ts'
import { type Chat, type Ledger, newLedger } from './ledger.ts'
import {
  answeredInTime,
  type Broken,
  everyAddress,
  firstDecisions,
  growthMbAnHour,
  holdingAdviceFirst,
  memoryFlat,
  noReplyTwice,
  onceInTheLog,
  PROMISED,
  type Promised,
  pagedInTime,
  pageOnce,
  quantile,
  type Sample,
} from './promises.ts'
import { openReceivers, type Receivers } from './receivers.ts'
import { CAREGIVERS } from './sayings.ts'
import { clinicFolder, root, type ServerProcess, startServer } from './server-process.ts'
import { newTraffic, type Traffic, type WebPhone, webPhone } from './web-phone.ts'

export interface FamiliesOptions {
  readonly minutes: number
  readonly families: number
  readonly seed: string
  /** Called about once a second with the share done, from 0 to 1, and a line on what stands. */
  readonly progress: (share: number, line: string) => void
}

export interface SuiteResult {
  readonly isWell: boolean
  /** JSON figures for docs/figures. */
  readonly figures: Readonly<Record<string, unknown>>
  /** For people, at the end. */
  readonly table: readonly string[]
}

const WITHIN_MS = 5_000
const SAMPLE_EVERY_MS = 30_000
/** Under this many minutes a process is still warming up, and memory is told but not judged. */
const MEMORY_JUDGED_MINUTES = 20
/** Idle connections are closed by the server within this. */
const IDLE_CLOSE_MS = 8_000
/** Descriptors that may be open at the end beyond those at the start: files of the database that open later. */
const DESCRIPTORS_MORE = 6

/** Everything the run holds while it lasts. */
interface World {
  readonly options: FamiliesOptions
  readonly server: ServerProcess
  readonly receivers: Receivers
  readonly ledger: Ledger
  readonly traffic: Traffic
  readonly agent: Agent
  readonly endsAt: number
  readonly samples: Sample[]
  readonly boardMs: number[]
  readonly staff: Clinicians
  readonly isOver: () => boolean
}

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
  const { options, server, traffic, agent, staff } = world
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
  const idle = isAlive ? await idleDescriptors(world) : Number.NaN
  const storedBytes = server.storedBytes()
  const exit = server.exited() ?? (await server.stop())
  judge(world, judgedAt, { descriptorsAtStart, idle, exit, isAlive })
  return resultOf(world, { ranMs, startedAt, judgedAt, storedBytes, descriptorsAtStart, idle, folder })
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
async function check({ ledger }: World, run: FamilyRun): Promise<void> {
  const { chat } = run
  const page = await read(run, '/').catch(() => undefined)
  if (page === undefined) return
  ledger.broken.push(
    ...onceInTheLog(chat.posts, page.lines, chat.id),
    ...noReplyTwice(page.lines, chat.id, WITHIN_MS),
    ...ledger.clinicianWords(chat, page.lines),
  )
  chat.decided = firstDecisions(page.lines, chat.id, texts())
  ledger.count('logs read whole')
}

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
  const { server, samples, ledger, traffic, endsAt, isOver, boardMs, agent, options } = world
  const desk = webPhone(server.origin, agent, traffic)
  let nextSampleAt = startedAt
  let looks = 0
  while (!isOver()) {
    const now = Date.now()
    if (now >= nextSampleAt) {
      nextSampleAt += SAMPLE_EVERY_MS
      samples.push({ at: now, residentMb: server.residentMb(), descriptors: server.descriptors() })
      looks += 1
      if (looks % 2 === 0)
        await desk.get('/board').then(
          ({ tookMs }) => boardMs.push(tookMs),
          () => undefined,
        )
    }
    const posts = ledger.chats.reduce((sum, chat) => sum + chat.posts.length, 0)
    const line = `${posts} messages, ${ledger.pages.length} pages, ${ledger.broken.length} broken, ${samples.at(-1)?.residentMb.toFixed(0)} MB`
    options.progress(Math.min(1, (now - startedAt) / (endsAt - startedAt)), line)
    await pause(1_000)
  }
}

async function idleDescriptors({ server, agent }: World): Promise<number> {
  agent.destroy()
  await pause(IDLE_CLOSE_MS)
  return server.descriptors()
}

function judge(
  world: World,
  judgedAt: number,
  seen: { descriptorsAtStart: number; idle: number; exit: number; isAlive: boolean },
): void {
  const { ledger, traffic, samples, options, receivers, server } = world
  const { broken, chats } = ledger
  const posts = chats.flatMap(chat => chat.posts)
  const advice = texts().holding
  broken.push(...answeredInTime(posts, WITHIN_MS), ...holdingAdviceFirst(posts, advice))
  broken.push(
    ...pagedInTime(
      chats.flatMap(chat => chat.decided).filter(({ at }) => at < judgedAt - WITHIN_MS),
      id => (chats[id] === undefined ? [] : ledger.pagesOf(chats[id])),
      WITHIN_MS,
    ),
  )
  const { late } = moved(ledger.happenings, world.endsAt, WITHIN_MS)
  for (const { caseId, dueAt, stage } of late) {
    const code = ledger.pages.find(page => page.caseId === caseId)?.said?.code ?? ''
    const chat = chats.find(({ codes }) => codes.has(code))
    broken.push({
      promise: 'pages-move-on',
      ...(chat === undefined ? {} : { chat: chat.id }),
      what: `case ${code}: nothing followed "${stage}", due ${new Date(dueAt).toISOString()}`,
    })
  }
  broken.push(...pageOnce(ledger.pages), ...everyAddress(ledger.pages, judgedAt - 2 * WITHIN_MS))
  if (receivers.refused() > 0)
    broken.push({ promise: 'every-address', what: `${receivers.refused()} web calls were not signed right` })
  broken.push(...traffic.broken.map(what => ({ promise: 'no-5xx' as const, what })))
  if (options.minutes >= MEMORY_JUDGED_MINUTES) broken.push(...memoryFlat(samples))
  if (!(seen.idle <= seen.descriptorsAtStart + DESCRIPTORS_MORE))
    broken.push({
      promise: 'descriptors-flat',
      what: `${seen.descriptorsAtStart} at the start, ${seen.idle} at the end, idle`,
    })
  if (!seen.isAlive || seen.exit !== 0)
    broken.push({ promise: 'ends-well', what: `exit code ${seen.exit}${seen.isAlive ? '' : ' before the end'}` })
  for (const fault of server.faults().slice(0, 20))
    broken.push({ promise: 'ends-well', what: `it wrote: ${fault.slice(0, 300)}` })
  const once = new Map(broken.map(one => [JSON.stringify(one), one]))
  broken.splice(0, broken.length, ...once.values())
}

function resultOf(
  { options, ledger, traffic, samples, boardMs }: World,
  seen: {
    ranMs: number
    startedAt: number
    judgedAt: number
    storedBytes: number
    descriptorsAtStart: number
    idle: number
    folder: string
  },
): SuiteResult {
  const posts = ledger.chats.flatMap(chat => chat.posts)
  const answered = posts.flatMap(({ answeredMs }) => answeredMs ?? [])
  const { met, promises } = moved(ledger.happenings, seen.judgedAt, WITHIN_MS)
  const milliseconds = (from: readonly number[]) => ({
    p50: Math.round(quantile(from, 0.5)),
    p99: Math.round(quantile(from, 0.99)),
    most: Math.round(Math.max(...from, 0)),
  })
  const decided = ledger.chats.flatMap(chat => chat.decided)
  const halves = samples.slice(Math.floor(samples.length / 2))
  const brokenBy = (promise: Promised) => ledger.broken.filter(one => one.promise === promise).length
  const figures = {
    minutes: options.minutes,
    families: options.families,
    ranSeconds: Math.round(seen.ranMs / 1000),
    messages: posts.filter(({ takenAt }) => takenAt !== undefined).length,
    chats: ledger.chats.length,
    ...Object.fromEntries([...ledger.counts].sort()),
    answerMs: milliseconds(answered),
    postMs: milliseconds(traffic.postMs),
    readMs: milliseconds(traffic.getMs),
    boardMs: milliseconds(boardMs),
    requests: traffic.requests,
    statuses: Object.fromEntries([...traffic.byStatus].sort()),
    turnedAway: traffic.turnedAway,
    connectionsLost: traffic.lost,
    casesDecided: decided.length,
    pagesReceived: {
      webCalls: ledger.pages.filter(({ how }) => how === 'webhook').length,
      mails: ledger.pages.filter(({ how }) => how === 'mail').length,
    },
    rungsInTime: met,
    ofThemBrokenPromisesNoticed: promises,
    residentMb: {
      first: Math.round(samples[0]?.residentMb ?? Number.NaN),
      most: Math.round(Math.max(...samples.map(({ residentMb }) => residentMb))),
      last: Math.round(samples.at(-1)?.residentMb ?? Number.NaN),
      growthAnHourLastHalf: Number(growthMbAnHour(halves).toFixed(1)),
    },
    descriptors: {
      start: seen.descriptorsAtStart,
      most: Math.max(...samples.map(({ descriptors }) => descriptors)),
      idleAtTheEnd: seen.idle,
    },
    storedBytesAMessage: Math.round(seen.storedBytes / Math.max(1, posts.length)),
    memory: samples.filter((_, i) => i % 10 === 0).map(({ residentMb }) => Math.round(residentMb)),
    promises: Object.fromEntries((Object.keys(PROMISED) as Promised[]).map(promise => [promise, brokenBy(promise)])),
  }
  return { isWell: ledger.broken.length === 0, figures, table: tableOf(ledger, figures, seen.folder) }
}

function tableOf(ledger: Ledger, figures: Readonly<Record<string, unknown>>, folder: string): string[] {
  const rows = Object.entries(figures).filter(([name]) => name !== 'promises' && name !== 'memory')
  const width = Math.max(...rows.map(([name]) => name.length))
  const promises = (Object.keys(PROMISED) as Promised[]).map(promise => {
    const times = ledger.broken.filter(one => one.promise === promise).length
    return `${times === 0 ? 'kept  ' : 'BROKEN'} ${times === 0 ? '' : `${times}x `}${PROMISED[promise]}`
  })
  const lines = rows.map(
    ([name, value]) => `${name.padEnd(width)}  ${typeof value === 'object' ? JSON.stringify(value) : value}`,
  )
  return [...lines, '', ...promises, ...faultsOf(ledger, folder)]
}

function faultsOf(ledger: Ledger, folder: string): string[] {
  if (ledger.broken.length === 0) return []
  const first: Broken | undefined = ledger.broken.find(({ chat }) => chat !== undefined)
  const chat = first?.chat === undefined ? undefined : ledger.chats[first.chat]
  return [
    '',
    ...ledger.broken
      .slice(0, 30)
      .map(({ promise, chat: id, what }) => `${promise} ${id === undefined ? '' : `(chat ${id}) `}${what}`),
    ...(chat === undefined
      ? []
      : ['', `The first family that it went wrong for: seed ${chat.seed}, ${chat.caregiver}`, ...chat.transcript]),
    '',
    `What the process wrote and stored is kept in ${folder}`,
  ]
}

async function waitUntil(at: number, isOver: () => boolean): Promise<void> {
  while (Date.now() < at && !isOver()) await pause(Math.min(1_000, Math.max(1, at - Date.now())))
}

interface ShippedTexts {
  readonly begins: string
  readonly decides: readonly string[]
  readonly holding: readonly string[]
}
let shipped: ShippedTexts | undefined

/** The shipped lines that the checks look for, each up to its first placeholder. */
function texts(): ShippedTexts {
  if (shipped !== undefined) return shipped
  const wording = ['flows/shared/wording.en.yaml', 'flows/tube-out/wording.en.yaml']
    .map(file => parse(readFileSync(join(root, file), 'utf8')) as Record<string, string>)
    .reduce((all, one) => ({ ...all, ...one }))
  const line = (id: string): string => {
    const text = wording[`say/${id}`]?.split('{')[0]?.trim()
    if (text === undefined || text === '') throw new Error(`no fixed beginning of "say/${id}" in the wording`)
    return text
  }
  shipped = {
    begins: line('bot-here'),
    decides: ['will-go', 'nasal-hold', 'clinician-confirms', 'person-wanted', 'silence-paged'].map(line),
    holding: ['cover-opening', 'cover-if-empty', 'leave-in-place', 'leave-if-in'].map(line),
  }
  return shipped
}
