import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { type GuardId, guards, type Refusal, refusalText } from '../config/guard.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, type Command, print } from './command.ts'
import { dataFiles } from './data-folder.ts'
import { type Guarded, guarded, standsInTheWay } from './guards.ts'
import { lineMembers } from './line-members.ts'
import { DEMO_CLINIC, type LoadedLine } from './load-line.ts'
import { keysApart, openRedisOf } from './redis-at-hand.ts'
import { readVignettes } from './vignette-file.ts'
import { runVignette } from './vignette-run.ts'
import { judged } from './vignettes.ts'

export const readyCommand: Command = {
  name: 'ready',
  summary: 'tells, without serving, everything that would keep a clinic from being served',
  usage: 'smallhours ready [--clinic FOLDER] [--data FOLDER] [--flows FOLDER] [--host ADDRESS] [--json]',
  async run(args) {
    const { values } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      flows: { type: 'string' },
      host: { type: 'string', default: '127.0.0.1' },
      json: { type: 'boolean', default: false },
    })
    const found = guarded({
      clinicDir: values.clinic,
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
      dataDir: values.data,
      host: values.host,
      at: systemClock().now(),
      uid: process.getuid?.(),
    })
    const situations = found.loaded === undefined ? [] : await vignetteGuards(values.clinic, found.loaded)
    const all = [...found.refusals, ...(await storeGuards(found, values.data)), ...situations]
    const isReady = !all.some(refusal => standsInTheWay(refusal, found))
    if (values.json) print(JSON.stringify(document(found, all, isReady)))
    else print(report(found, all, isReady))
    return isReady ? 0 : 1
  },
}

/** Guards that hold in a demonstration too; of the others it says nothing. */
const IN_A_DEMONSTRATION: readonly GuardId[] = ['files', 'demonstration', 'cover', 'store', 'vignettes']

const guardIds = Object.keys(guards) as GuardId[]
const looked = ({ isDemonstration }: Guarded): readonly GuardId[] => (isDemonstration ? IN_A_DEMONSTRATION : guardIds)

function document(found: Guarded, all: readonly Refusal[], ready: boolean) {
  return {
    ready,
    demonstration: found.isDemonstration,
    guards: looked(found).map(id => {
      const refusals = all.filter(({ guard }) => guard === id)
      return { id, means: guards[id], passed: !refusals.some(one => standsInTheWay(one, found)), refusals }
    }),
  }
}

function report(found: Guarded, all: readonly Refusal[], isReady: boolean): string {
  const lines = looked(found).flatMap(id => {
    const refusals = all.filter(({ guard }) => guard === id)
    const mark = refusals.some(one => standsInTheWay(one, found))
      ? 'REFUSED'
      : refusals.length > 0
        ? 'look at'
        : 'passed'
    return [`${mark.padEnd(8)} ${id}: ${guards[id]}`, ...refusals.map(one => `  ${refusalText(one)}`)]
  })
  const refused = all.filter(one => standsInTheWay(one, found)).length
  return [...lines, '', summaryLine(found, isReady, refused, all.length - refused)].join('\n')
}

function summaryLine({ isDemonstration }: Guarded, isReady: boolean, refused: number, toLookAt: number): string {
  const rest = toLookAt === 0 ? '' : ` ${toLookAt} to look at.`
  if (!isReady) return `Not ready: ${refused} to put right before anything is served.${rest}`
  const what = isDemonstration ? 'Ready as a demonstration: nobody real is paged.' : 'Ready to be served.'
  return `${what}${rest}`
}

/** The Redis that keeps the cases, asked now. Nothing is written but its layout, where it is new. */
async function storeGuards({ loaded, isDemonstration }: Guarded, dataDir: string): Promise<readonly Refusal[]> {
  const route = loaded?.store
  if (route === undefined) return []
  const where = route.addresses.map(({ host, port }) => `${host}:${port}`).join(', ')
  const refused = (code: string, found: string, todo: string): readonly Refusal[] => [
    { guard: 'store', code, where, found, expected: guards.store, todo, severity: 'refused' },
  ]
  try {
    const store = await openRedisOf(route, isDemonstration, () => undefined)
    try {
      await store.probe()
      await store.nextDue()
      const apart = lineMembers(dataFiles(dataDir).lineMembersFolder, () => systemClock().now()).elsewhere(
        await store.living(),
      )
      if (apart.length > 0)
        return refused(
          'STORE_KEYS_APART',
          keysApart(apart.length),
          'stop the other processes, or name their data folder with --data, as docs/operating/redis.md says',
        )
    } finally {
      await store.close()
    }
    return []
  } catch (error) {
    const found = error instanceof Error ? error.message : 'it cannot be used'
    return error instanceof Error && error.name === 'StoreUnusable'
      ? refused('STORE_VOLATILE', found, 'set what stands there, as docs/operating/redis.md shows, then run this again')
      : refused(
          'STORE_SILENT',
          found,
          'start it, and let this machine reach it: smallhours serve does not start without it',
        )
  }
}

/** Situations the clinic wrote down, run through the whole bot; one that falls short is a refusal. */
async function vignetteGuards(clinicDir: string, loaded: LoadedLine): Promise<readonly Refusal[]> {
  const folder = join(clinicDir, 'vignettes')
  if (!existsSync(folder)) return []
  const { vignettes, problems } = readVignettes([folder], loaded.line)
  const told = (found: string, todo: string, where = folder): Refusal => ({
    guard: 'vignettes',
    code: 'VIGNETTE_SHORT',
    where,
    found,
    expected: 'what the clinic wrote down as right',
    todo,
    severity: 'refused',
  })
  const short: Refusal[] = problems.map(({ file, line, column, found }) =>
    told(found, 'put the vignette right', `${file}:${line}:${column}`),
  )
  for (const vignette of vignettes) {
    const { id, failures } = judged(vignette, await runVignette(loaded, vignette))
    if (failures.length > 0)
      short.push(told(`${id}: ${failures.join('; ')}`, `look at it with "smallhours vignettes ${folder} --show"`))
  }
  return short
}
