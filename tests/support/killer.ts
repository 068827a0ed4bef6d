// Loaded before the bot with `node --import`: ends the process, as a power cut does, where KILL says.
//   NAME#N     the n-th time the point NAME is passed
//   any#N      the n-th time any point is passed
//   after#MS   so many real milliseconds after the first point was passed
// Before that it writes to the file KILL_NOTE what was under way: one line of JSON, a `KillNote`.
import { subscribe } from 'node:diagnostics_channel'
import { writeFileSync } from 'node:fs'
import { POINT_CHANNEL } from '../../src/points/points.ts'

export interface KillNote {
  /** The point passed last. */
  readonly point: string
  /** How often it had been passed. */
  readonly nth: number
  /** Whether a message, alarm or outcome had begun to become a step and was not yet answered as committed. */
  readonly insideStep: boolean
  /** Whether a transaction was open. */
  readonly insideTransaction: boolean
  /** Rows claimed whose end was not yet written down. */
  readonly rowsUnderWay: number
  /** The instant by the machine's own clock, ms. */
  readonly realMs: number
}

const passes = new Map<string, number>()
// Loaded before a clock that runs fast: these are the machine's own.
const realNow = Date.now.bind(Date)
const realTimeout = setTimeout
let point = 'none'
let all = 0
let stepUnderWay = false
let transactionOpen = false
let rows = 0

const [what = '', count = ''] = (process.env.KILL ?? '').split('#')
const nth = Number(count)

subscribe(POINT_CHANNEL, message => {
  point = String(message)
  const times = (passes.get(point) ?? 0) + 1
  passes.set(point, times)
  all += 1
  if (all === 1 && what === 'after') realTimeout(end, nth)
  if (/^worker\.(received|loaded|stepped)$/.test(point)) stepUnderWay = true
  if (point === 'worker.committed') stepUnderWay = false
  if (point === 'store.begun') transactionOpen = true
  if (point === 'store.after-commit') transactionOpen = false
  if (/^outbox\.\w+\.claimed$/.test(point)) rows += 1
  if (/^outbox\.\w+\.settled$/.test(point)) rows -= 1
  if ((what === point && times === nth) || (what === 'any' && all === nth)) end()
})

function end(): void {
  const note: KillNote = {
    point,
    nth: passes.get(point) ?? 0,
    insideStep: stepUnderWay,
    insideTransaction: transactionOpen,
    rowsUnderWay: rows,
    realMs: realNow(),
  }
  writeFileSync(process.env.KILL_NOTE ?? '/dev/null', JSON.stringify(note))
  process.kill(process.pid, 'SIGKILL')
}
