/** A script played on the whole bot with nobody looking on. */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Readable, Writable } from 'node:stream'
import type { Outgoing } from '../case/message.ts'
import { type CaseState, parseState } from '../case/state.ts'
import { terminal } from '../channels/terminal/terminal.ts'
import { handClock } from '../runtime/hand-clock.ts'
import { lineMachine } from '../runtime/line-machine.ts'
import { systemRandom } from '../runtime/system-clock.ts'
import { openBot } from './bot.ts'
import type { LoadedLine } from './load-line.ts'
import { FIRST_AT, inLanguageOf, knownIn, type Script, scriptPlay } from './script-play.ts'
import { terminalSpoken } from './terminal-spoken.ts'
import { knowing } from './vignette-run.ts'

const CHAT = { channel: 'terminal', chat: 'here' } as const

/** The case at its end; undefined where the script begins none. `onDelivered` is told what the family reads. */
export async function playQuietly(
  loaded: LoadedLine,
  script: Script,
  onDelivered: (outgoing: Outgoing) => void = () => {},
): Promise<CaseState | undefined> {
  const clock = handClock(script.at ?? FIRST_AT)
  const dataDir = mkdtempSync(join(tmpdir(), 'smallhours-script-'))
  const random = systemRandom()
  const bot = await openBot({
    loaded,
    dataDir,
    isThrowaway: true,
    clock,
    random,
    log: () => {},
    origin: () => 'http://localhost',
    machine: knowing(lineMachine(loaded.line), knownIn(script, loaded, clock.now())),
  })
  const settled = () => bot.runtime.idle()
  const { runtime, store } = bot
  const play = scriptPlay(script, {
    loaded,
    store,
    runtime,
    settled,
    now: () => clock.now(),
    chat: CHAT,
    print: () => {},
  })
  const channel = terminal({
    receive: incoming => runtime.receive(inLanguageOf(script, incoming)),
    settled,
    wait: async length => clock.advance(length, settled),
    now: () => clock.now(),
    randomId: () => random.hex(16),
    spoken: language => terminalSpoken(bot.spoken(language ?? script.language)),
    demonstration: true,
    input: Readable.from([]),
    output: new Writable({ write: (_chunk, _encoding, done) => done() }),
    script: play.lines,
    scriptOnly: true,
  })
  bot.addChannel({
    ...channel,
    deliver(outgoing) {
      play.noted(outgoing)
      onDelivered(outgoing)
      return channel.deliver(outgoing)
    },
  })
  try {
    await runtime.start()
    await channel.start()
    await channel.ended
    await settled()
    const [stored] = await store.casesOf(CHAT)
    return stored === undefined ? undefined : parseState(loaded.line, stored.state)
  } finally {
    await channel.stop()
    await bot.stop()
    rmSync(dataDir, { recursive: true, force: true })
  }
}
