/**
 * A process of its own that commits to a SQLite store until it is killed, for the tests beside this file.
 * Arguments: database file, name of this run, then one of
 *   `until-killed`            the parent kills it
 *   `<point>:<nth>`           it kills itself (SIGKILL) the nth time the store passes that point
 * Prints one line per acknowledged step, "ack <caseId>", and "refused <words>" where a commit was rejected.
 */
import { subscribe } from 'node:diagnostics_channel'
import { writeSync } from 'node:fs'
import { POINT_CHANNEL } from '../../src/points/points.ts'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import { alarms, at, row, step } from './step-record.ts'

const [file = '', run = '', until = ''] = process.argv.slice(2)
const [stopPoint, stopNth] = until.split(':')
let passed = 0

subscribe(POINT_CHANNEL, point => {
  if (point !== stopPoint) return
  passed += 1
  if (passed === Number(stopNth)) process.kill(process.pid, 'SIGKILL')
})
const store = openSqliteStore({ file })

/** Straight to the pipe: a line the parent has read was acknowledged before the kill. */
const say = (line: string) => writeSync(1, `${line}\n`)

let refused = 0
async function oneWriter(name: number): Promise<void> {
  for (let n = 0; refused < 5; n += 1) {
    const caseId = `${run}-${name}-${n}`
    const record = step(caseId, 0, {
      state: 'x'.repeat(600),
      outbox: [row(`${caseId}/1/0`, caseId)],
      alarms: alarms({ check: at(1) }),
      delivery: { channel: 'web', deliveryId: caseId },
    })
    try {
      say(`${(await store.commit(record)) === 'committed' ? 'ack' : 'not'} ${caseId}`)
    } catch (error) {
      refused += 1
      say(`refused ${error instanceof Error ? error.message : error}`)
    }
  }
}

await Promise.all([0, 1, 2, 3, 4, 5, 6, 7].map(oneWriter))
say('ended')
await store.close()
