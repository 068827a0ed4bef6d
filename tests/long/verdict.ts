import { availableParallelism } from 'node:os'
import { moved } from './call-outs.ts'
import type { Ledger } from './ledger.ts'
import {
  answeredInTime,
  everyAddress,
  growthMbAnHour,
  holdingAdviceFirst,
  memoryFlat,
  PROMISED,
  type Promised,
  pagedInTime,
  pageOnce,
  quantile,
} from './promises.ts'
import { type SuiteResult, WITHIN_MS, type World } from './world.ts'

/** Under this many minutes a process is still warming up, and memory is told but not judged. */
const MEMORY_JUDGED_MINUTES = 20
/** Descriptors that may be open at the end beyond those at the start: files of the database that open later. */
const DESCRIPTORS_MORE = 6

/** What was measured of the process itself. */
export interface Measured {
  readonly ranMs: number
  readonly judgedAt: number
  readonly storedBytes: number
  readonly descriptorsAtStart: number
  /** Descriptors after everybody has gone; NaN when the process had ended. */
  readonly descriptorsIdle: number
  readonly exit: number
  /** Whether it still ran when the run was over. */
  readonly isAlive: boolean
  /** Where its output and data are. */
  readonly folder: string
}

/** Looks at everything promised that is not looked at chat by chat, and adds what was not kept to the ledger. */
export function judge(world: World, seen: Measured): void {
  judgeMessages(world, seen)
  judgePages(world, seen)
  judgeProcess(world, seen)
  const { broken } = world.ledger
  const once = new Map(broken.map(one => [JSON.stringify(one), one]))
  broken.splice(0, broken.length, ...once.values())
}

function judgeMessages({ ledger: { broken, chats }, traffic, lines }: World, { judgedAt }: Measured): void {
  const posts = chats.flatMap(chat => chat.posts).filter(({ sentAt }) => sentAt < judgedAt - WITHIN_MS)
  broken.push(...answeredInTime(posts, WITHIN_MS), ...holdingAdviceFirst(posts, lines.holding))
  broken.push(...traffic.broken.map(what => ({ promise: 'no-5xx' as const, what })))
}

function judgePages({ ledger, receivers, endsAt }: World, { judgedAt }: Measured): void {
  const { broken, chats, pages } = ledger
  const decided = chats.flatMap(chat => chat.decided).filter(({ at }) => at < judgedAt - WITHIN_MS)
  const pagesOf = (id: number): number[] => (chats[id] === undefined ? [] : ledger.pagesOf(chats[id]))
  broken.push(...pagedInTime(decided, pagesOf, WITHIN_MS), ...pageOnce(pages))
  broken.push(...everyAddress(pages, judgedAt - 2 * WITHIN_MS))
  for (const { caseId, dueAt, stage } of moved(ledger.happenings, endsAt, WITHIN_MS).late) {
    const code = pages.find(page => page.caseId === caseId)?.said?.code ?? ''
    const chat = chats.find(({ codes }) => codes.has(code))
    broken.push({
      promise: 'pages-move-on',
      ...(chat === undefined ? {} : { chat: chat.id }),
      what: `case ${code}: nothing followed "${stage}", due ${new Date(dueAt).toISOString()}`,
    })
  }
  if (receivers.refused() > 0)
    broken.push({ promise: 'every-address', what: `${receivers.refused()} web calls were not signed right` })
}

function judgeProcess({ ledger: { broken }, samples, options, server }: World, seen: Measured): void {
  const { descriptorsAtStart, descriptorsIdle, exit, isAlive } = seen
  if (options.minutes >= MEMORY_JUDGED_MINUTES) broken.push(...memoryFlat(samples))
  if (!(descriptorsIdle <= descriptorsAtStart + DESCRIPTORS_MORE)) {
    const what = `${descriptorsAtStart} at the start, ${descriptorsIdle} at the end when everybody had gone`
    broken.push({ promise: 'descriptors-flat', what })
  }
  if (!isAlive || exit !== 0)
    broken.push({ promise: 'ends-well', what: `exit code ${exit}${isAlive ? '' : ', before the end'}` })
  for (const fault of server.faults().slice(0, 20))
    broken.push({ promise: 'ends-well', what: `it wrote: ${fault.slice(0, 300)}` })
}

/** Figures for docs/figures and the table at the end. */
export function resultOf(
  { options, ledger, traffic, samples, boardMs, loads, delay }: World,
  seen: Measured,
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
    machine: {
      processors: availableParallelism(),
      loadMean: Number((loads.reduce((sum, load) => sum + load, 0) / Math.max(1, loads.length)).toFixed(1)),
      loadMost: Number(Math.max(...loads, 0).toFixed(1)),
      driverLateMs: { p99: Math.round(delay.percentile(99) / 1e6), most: Math.round(delay.max / 1e6) },
    },
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
      idleAtTheEnd: seen.descriptorsIdle,
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
  const first = ledger.broken.find(({ chat }) => chat !== undefined)
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
