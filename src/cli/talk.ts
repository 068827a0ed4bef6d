import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { terminal } from '../channels/terminal/terminal.ts'
import { handClock } from '../runtime/hand-clock.ts'
import { lineMachine } from '../runtime/line-machine.ts'
import { lineLog } from '../runtime/log.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { instant } from '../time/instant.ts'
import { openBot } from './bot.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'
import { FIRST_AT, inLanguageOf, knownIn, scriptOf, scriptPlay, withPolicies } from './script-play.ts'
import { terminalSpoken } from './terminal-spoken.ts'
import { knowing } from './vignette-run.ts'

export const talkCommand: Command = {
  name: 'talk',
  summary: 'one conversation in the terminal; with --script, by a clock that "wait 20" moves',
  usage: 'smallhours talk [--clinic FOLDER] [--data FOLDER] [--flows FOLDER] [--script FILE [--at INSTANT]]',
  async run(args) {
    const { values } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string' },
      flows: { type: 'string' },
      script: { type: 'string' },
      at: { type: 'string' },
    })
    const script =
      values.script === undefined ? undefined : scriptOf(readFileSync(values.script, 'utf8'), values.script)
    const startAt = values.at === undefined ? (script?.at ?? FIRST_AT) : Date.parse(values.at)
    if (Number.isNaN(startAt))
      throw new CalledWrongly(`--at ${values.at}: an instant such as 2026-03-01T07:10:00Z was expected`)
    const hand = script === undefined ? undefined : handClock(instant(startAt))
    const clock = hand ?? systemClock()
    const { loaded: read, problems } = loadLine({
      clinicDir: values.clinic,
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
      at: clock.now(),
    })
    reportProblems(problems)
    if (read === undefined) return 1
    const loaded = script === undefined ? read : withPolicies(read, script.policies)
    const ownFolder = values.data === undefined ? mkdtempSync(join(tmpdir(), 'smallhours-talk-')) : undefined
    const dataDir = values.data ?? ownFolder ?? ''
    const random = systemRandom()
    const bot = await openBot({
      loaded,
      dataDir,
      isThrowaway: ownFolder !== undefined,
      clock,
      random,
      log: lineLog(() => clock.now(), complain),
      origin: () => 'http://localhost:8080',
      ...(script === undefined
        ? {}
        : { machine: knowing(lineMachine(loaded.line), knownIn(script, loaded, clock.now())) }),
    })
    const stopShowing = bot.pagers.board.onPage(page => print(`        [page to ${page.to.name}: ${page.text}]`))
    const settled = () => bot.runtime.idle()
    const play =
      script === undefined
        ? undefined
        : scriptPlay(script, {
            loaded,
            store: bot.store,
            runtime: bot.runtime,
            settled,
            now: () => clock.now(),
            chat: { channel: 'terminal', chat: 'here' },
            print,
          })
    const channel = terminal({
      receive: incoming => bot.runtime.receive(inLanguageOf(script, incoming)),
      settled,
      ...(hand === undefined ? {} : { wait: async length => hand.advance(length, settled) }),
      now: () => clock.now(),
      randomId: () => random.hex(16),
      spoken: language => terminalSpoken(bot.spoken(language ?? script?.language)),
      demonstration: loaded.line.clinic.demonstration,
      input: process.stdin,
      output: process.stdout,
      ...(play === undefined ? {} : { script: play.lines, scriptOnly: true }),
    })
    bot.addChannel({
      ...channel,
      deliver(outgoing) {
        play?.noted(outgoing)
        return channel.deliver(outgoing)
      },
    })
    await bot.runtime.start()
    await channel.start()
    await channel.ended
    await settled()
    const isAsWanted = play === undefined || (await play.ended())
    stopShowing()
    await channel.stop()
    await bot.stop()
    if (ownFolder !== undefined) rmSync(ownFolder, { recursive: true, force: true })
    return isAsWanted ? 0 : 1
  },
}
