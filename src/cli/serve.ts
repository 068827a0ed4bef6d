import { join } from 'node:path'
import { errorFields, type Log, lineLog } from '../runtime/log.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { startWatchdog } from '../runtime/watchdog.ts'
import { openBot } from './bot.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'

const DEFAULT_PORT = 8080

export const serveCommand: Command = {
  name: 'serve',
  summary: 'answers families on the web and pages clinicians, until it is stopped',
  usage: 'smallhours serve [--clinic FOLDER] [--data FOLDER] [--flows FOLDER] [--port N] [--host ADDRESS]',
  async run(args) {
    const { values } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      flows: { type: 'string' },
      port: { type: 'string', default: String(DEFAULT_PORT) },
      host: { type: 'string', default: '127.0.0.1' },
    })
    const port = Number(values.port)
    if (!Number.isInteger(port) || port < 0 || port > 65_535)
      throw new CalledWrongly(`--port ${values.port}: a whole number from 0 to 65535 was expected`)
    const clock = systemClock()
    const { loaded, problems } = loadLine({
      clinicDir: values.clinic,
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
      at: clock.now(),
    })
    reportProblems(problems)
    if (loaded === undefined) return 1
    if (!loaded.line.clinic.demonstration) {
      complain(
        'serve: this release serves demonstrations only: approval of flows by two named clinicians is not built yet. Set "demonstration: yes" to look at it.',
      )
      return 1
    }
    const log = lineLog(() => clock.now())
    endOnFaults(log)
    let origin = loaded.line.clinic.webAddress ?? ''
    const bot = await openBot({
      loaded,
      dataDir: values.data,
      clock,
      random: systemRandom(),
      log,
      origin: () => origin,
      onStanding: endWithError,
      ...(loaded.line.clinic.webAddress === undefined ? {} : { publicOrigin: loaded.line.clinic.webAddress }),
    })
    const watchdog = startWatchdog()
    const server = await bot.serve(port, values.host)
    const here = `http://${values.host === '127.0.0.1' ? 'localhost' : values.host}:${server.port}`
    origin = loaded.line.clinic.webAddress ?? here
    await bot.runtime.start()
    print(bot.words('demonstration-banner'))
    print(`Families:   ${here}/`)
    print(`Clinicians: ${here}/board`)
    print('Stop with Ctrl-C. Conversations go on where they were at the next start.')
    await stopWanted()
    await bot.stop()
    await server.stop()
    await watchdog.stop()
    return 0
  },
}

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

const endWithError = (): never => process.exit(1)

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
