import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import type { Incoming, Outgoing, Part, Question } from '../../case/message.ts'
import { type Instant, type Milliseconds, minutes } from '../../time/instant.ts'
import type { Channel } from '../channel.ts'
import { type LinesFrame, numbersLine, partLines, replyLines } from '../text-lines.ts'
import { plainText } from '../text-plain.ts'
import { typed } from './typed.ts'

/** Everything the terminal needs from the rest of the bot. */
export interface TerminalPorts {
  receive(incoming: Incoming): Promise<void>
  /** Resolves when nothing is left to send: with a script or a pipe the next line waits for the replies to the last. */
  settled(): Promise<void>
  /** Lets time pass, where the clock is moved by hand; absent: `wait` says that it cannot. */
  wait?(length: Milliseconds): Promise<void>
  now(): Instant
  randomId(): string
  /** What the terminal itself prints, in the language of a case; absent: in the one it begins in. */
  spoken(language?: string): TerminalSpoken
  readonly demonstration: boolean
  readonly input: Readable
  readonly output: Writable
  /** Lines typed before `input` is read (`talk --script`); they are printed as they are sent. */
  readonly script?: Iterable<string> | AsyncIterable<string>
  /** True when input ends after the script. */
  readonly scriptOnly?: boolean
  /** Id of the chat; default `here`. */
  readonly chat?: string
}

/** What is printed around the replies, in one language. */
export interface TerminalSpoken extends LinesFrame {
  /** Holding advice, printed before anything is sent. */
  firstAdvice(): readonly Part[]
  /** What it may be about, to choose by number before anything is sent. */
  concerns(): readonly { readonly id: string; readonly label: string }[]
}

/** Serial of the concerns on the first screen: nothing was asked yet. */
const CONCERN_SERIAL = 0

export type Terminal = Channel & {
  /** Resolves when the script and the input have ended, or `quit` was typed. */
  readonly ended: Promise<void>
}

/** A conversation at a terminal, one chat a process; works the same with typed, piped and scripted lines. */
export function terminal(ports: TerminalPorts): Terminal {
  const { output } = ports
  const chat = ports.chat ?? 'here'
  const run = ports.randomId()
  const reader = createInterface({ input: ports.input, terminal: false })
  let spoken = ports.spoken()
  let question: Question | undefined = concernQuestion(spoken)
  let count = 0
  let isStopped = false
  let finish: () => void = () => undefined
  const ended = new Promise<void>(resolve => {
    finish = resolve
  })

  const print = (...lines: readonly string[]): void => {
    output.write(`${lines.join('\n')}\n`)
  }

  const greet = (): void => {
    const { wording } = spoken
    print(
      ...(ports.demonstration ? [wording('demonstration-banner')] : []),
      plainText(wording('caution')),
      '',
      `${wording('first-advice-heading')}:`,
      ...partLines(spoken.firstAdvice(), spoken),
      ...(question === undefined ? [] : partLines([question], spoken)),
      `  ${numbersLine(spoken.foot)}`,
      '',
      wording('terminal-help-hint'),
    )
  }

  const printBroken = (): void => print(spoken.wording('broken-line'), `  ${numbersLine(spoken.foot)}`)

  const send = async (body: Incoming['body']): Promise<void> => {
    count += 1
    const incoming: Incoming = { channel: 'terminal', chat, deliveryId: `${run}.${count}`, at: ports.now(), body }
    try {
      await ports.receive(incoming)
    } catch {
      printBroken()
    }
    await ports.settled()
  }

  /** Does one line; true when the conversation is to end. */
  const take = async (line: string): Promise<boolean> => {
    const read = typed(line, question)
    switch (read.kind) {
      case 'nothing':
        return false
      case 'quit':
        return true
      case 'help':
        print(spoken.wording('terminal-help'))
        return false
      case 'wait':
        if (ports.wait === undefined) print(spoken.wording('terminal-no-wait'))
        else await ports.wait(minutes(read.minutes))
        await ports.settled()
        return false
      case 'send':
        await send(read.body)
        return false
    }
  }

  const converse = async (): Promise<void> => {
    greet()
    for await (const line of ports.script ?? []) {
      if (isStopped) return
      print(`> ${plainText(line)}`)
      if (await take(line)) return
    }
    if (ports.scriptOnly === true) return
    for await (const line of reader) {
      if (isStopped || (await take(line))) return
    }
  }

  return {
    id: 'terminal',
    ended,
    async deliver(outgoing: Outgoing) {
      spoken = ports.spoken(outgoing.language)
      const asked = outgoing.parts.findLast(part => part.kind === 'question')
      if (asked !== undefined) question = asked
      print(...replyLines(outgoing, spoken))
      return { kind: 'delivered' }
    },
    async start() {
      converse()
        .catch(printBroken)
        .finally(() => {
          reader.close()
          finish()
        })
    },
    async stop() {
      isStopped = true
      reader.close()
      finish()
    },
  }
}

/** The concerns as a question of their own, so that a number chooses one; undefined where there are none. */
function concernQuestion({ concerns, wording }: TerminalSpoken): Question | undefined {
  const options = concerns().map(({ id, label }) => ({ value: id, label }))
  const text = wording('first-ask')
  return options.length === 0
    ? undefined
    : { kind: 'question', serial: CONCERN_SERIAL, fact: 'about', text, options, several: false, accepts: 'words' }
}
