import { flushCompileCache } from 'node:module'
import { join } from 'node:path'
import { setFlagsFromString } from 'node:v8'
import { refusalText } from '../config/guard.ts'
import { metricsText, serveMetrics } from '../http/metrics.ts'
import { errorFields, type Log, lineLog } from '../runtime/log.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { startWatchdog } from '../runtime/watchdog.ts'
import { remembering } from './again.ts'
import { type Bot, openBot } from './bot.ts'
import { changingLine } from './changing-line.ts'
import { argumentsOf, type Command, complain, print, wholeNumber } from './command.ts'
import { demoFolder } from './demo-folder.ts'
import { type Guarded, guarded, refusedIn } from './guards.ts'

const DEFAULT_PORT = 8080

export const serveCommand: Command = {
  name: 'serve',
  summary: 'answers families on the web and pages clinicians, until it is stopped',
  usage:
    'smallhours serve [--clinic FOLDER] [--data FOLDER] [--flows FOLDER] [--port N] [--host ADDRESS] [--metrics-port N]',
  async run(args) {
    const { values } = argumentsOf(args, {
      clinic: { type: 'string' },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      flows: { type: 'string' },
      port: { type: 'string', default: String(DEFAULT_PORT) },
      host: { type: 'string', default: '127.0.0.1' },
      'metrics-port': { type: 'string' },
    })
    const port = portIn('port', values.port)
    const metricsPort =
      values['metrics-port'] === undefined ? undefined : portIn('metrics-port', values['metrics-port'])
    const clock = systemClock()
    const clinicDir = values.clinic ?? demoFolder(values.data)
    const again = remembering()
    const read = () =>
      guarded({
        clinicDir,
        ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
        dataDir: values.data,
        host: values.host,
        at: clock.now(),
        uid: process.getuid?.(),
        again,
      })
    const found = read()
    const { loaded } = found
    if (!mayServe(found) || loaded === undefined) return 1
    const log = lineLog(() => clock.now())
    const changing = changingLine({ clinicDir, loaded, read, clock, log })
    let origin = loaded.line.clinic.webAddress ?? ''
    const bot = await openBot({
      loaded,
      changing,
      again,
      clinicDir,
      dataDir: values.data,
      clock,
      random: systemRandom(),
      log,
      origin: () => origin,
      onStanding: endWithError,
      joinsLine: true,
      ...(loaded.line.clinic.webAddress === undefined ? {} : { publicOrigin: loaded.line.clinic.webAddress }),
    })
    const watchdog = startWatchdog(clock)
    const server = await bot.serve(port, values.host)
    const metrics = metricsPort === undefined ? undefined : await serveMetrics(metricsPort, () => figuresOf(bot))
    // From here on families may write; what keeps it from starting is said in full by then.
    endOnFaults(log)
    settleIn()
    const here = `http://${values.host === '127.0.0.1' ? 'localhost' : values.host}:${server.port}`
    origin = loaded.line.clinic.webAddress ?? here
    await bot.runtime.start()
    bot.hear()
    changing.start()
    const stopped = stopWanted()
    if (found.isDemonstration) {
      print(bot.words('demonstration-banner'))
      print(`Families:   ${here}/`)
      print(`Clinicians: ${here}/board`)
      print(`The clinic: ${here}/now`)
    } else {
      print(`${loaded.line.clinic.name}: ${origin}`)
      print(`Listening:  ${here}/`)
      print('Clinicians: by the link in each page')
    }
    if (metrics !== undefined) print(`Figures:    http://127.0.0.1:${metrics.port}/metrics`)
    print('Stop with Ctrl-C. Conversations go on where they were at the next start.')
    await stopped
    changing.stop()
    await bot.stop()
    await server.stop()
    await metrics?.stop()
    await watchdog.stop()
    return 0
  },
}

const portIn = (option: string, text: string): number => wholeNumber(`--${option}`, text, 0, 65_535)

const figuresOf = async ({ runtime }: Bot): Promise<string> =>
  metricsText(await runtime.health(), { memoryBytes: process.memoryUsage.rss(), aliveSeconds: process.uptime() })

/**
 * An error that nothing caught leaves the process in a state that nobody knows: it must not answer a family from it. What
 * was answered is on disk, so it ends at once, without its last words: a message may quote a family. Whatever started it
 * starts it again.
 */
function endOnFaults(log: Log): void {
  for (const event of ['uncaughtException', 'unhandledRejection'] as const) {
    process.on(event, (error: unknown) => {
      log({ what: 'process-fault', why: event, ...errorFields(error) })
      endWithError()
    })
  }
}

/**
 * The program is loaded. What was compiled is kept now and not at a clean end only, so that a start after a kill is as quick;
 * and before the next line, since compiled code fits only the settings it was compiled under. From here on memory is
 * collected when it has grown by half of what lives, not by several times that: a hundred megabytes less on a busy night,
 * for no more processor than is measurable.
 */
function settleIn(): void {
  flushCompileCache()
  setFlagsFromString('--heap-growing-percent=50')
}

const endWithError = (): never => process.exit(1)

/** Tells everything that was found; whether none of it stands in the way. */
function mayServe(found: Guarded): boolean {
  const { refusals, wasServing } = found
  for (const refusal of refusals) complain(refusalText(refusal))
  const refused = refusedIn(found)
  if (refusals.length > 0) complain(`${refused.length} to put right, ${refusals.length - refused.length} to look at`)
  if (refused.length > 0) complain('serve: nothing is served. "smallhours ready" tells the same without serving.')
  else if (wasServing && refusals.some(one => one.isByTime === true))
    complain(
      'serve: it was serving within the last day, so what only time has brought does not hold it back. Put it right today.',
    )
  return refused.length === 0
}

/** Resolves at the first signal to stop; a second one ends the process at once. */
function stopWanted(): Promise<void> {
  return new Promise(resolve => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) {
      process.once(signal, () => {
        process.once(signal, () => process.exit(1))
        resolve()
      })
    }
  })
}
