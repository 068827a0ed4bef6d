/** Plays changed parts against what was approved in a process of its own, one at a time, for the page that shows it. */
import { type ChildProcess, spawn } from 'node:child_process'
import { setPriority } from 'node:os'
import { fileURLToPath } from 'node:url'
import type { ConversationsFound } from './conversations-told.ts'

const MAIN = fileURLToPath(new URL('./main.ts', import.meta.url))
/** Families are answered first. */
const LOW_PRIORITY = 5
/** Results kept: one for each part, and some that were just replaced. */
const KEPT_MOST = 24

/** Plays a part now. Rejects where it could not be played. */
export type PlayPart = (part: string) => Promise<ConversationsFound>

export type ConversationsState =
  | { readonly kind: 'working' }
  | { readonly kind: 'failed' }
  | { readonly kind: 'found'; readonly found: ConversationsFound }

export interface ConversationsSide {
  /**
   * What is known of a part; begins to work it out where nothing is.
   * @param about  the contents that are held against each other: another pair is worked out anew
   */
  of(part: string, about: string): ConversationsState
  stop(): void
}

export function conversationsSide(
  play: PlayPart & { stop?(): void },
  onFault: (error: unknown) => void,
): ConversationsSide {
  const known = new Map<string, ConversationsState>()
  let last: Promise<unknown> = Promise.resolve()
  let isStopped = false

  function begin(part: string, key: string): void {
    known.set(key, { kind: 'working' })
    for (const old of [...known.keys()].slice(0, Math.max(0, known.size - KEPT_MOST))) known.delete(old)
    last = last.then(async () => {
      if (isStopped) return
      try {
        known.set(key, { kind: 'found', found: await play(part) })
      } catch (error) {
        if (!isStopped) onFault(error)
        known.set(key, { kind: 'failed' })
      }
    })
  }

  return {
    of(part, about) {
      const key = `${part} ${about}`
      const state = known.get(key)
      if (state === undefined || state.kind === 'failed') begin(part, key)
      return state ?? { kind: 'working' }
    },
    stop() {
      isStopped = true
      play.stop?.()
    },
  }
}

/** `smallhours approve PART --conversations` in a process of its own, behind everything else on the machine. */
export function playInProcess(place: {
  readonly clinicDir: string
  readonly flowsDir?: string
}): PlayPart & { stop(): void } {
  let child: ChildProcess | undefined
  const play = (part: string): Promise<ConversationsFound> =>
    new Promise((resolve, reject) => {
      const flows = place.flowsDir === undefined ? [] : ['--flows', place.flowsDir]
      const args = ['approve', part, '--conversations', '--json', '--clinic', place.clinicDir, ...flows]
      const started = spawn(process.execPath, [...process.execArgv, MAIN, ...args], {
        stdio: ['ignore', 'pipe', 'ignore'],
      })
      child = started
      try {
        if (started.pid !== undefined) setPriority(started.pid, LOW_PRIORITY)
      } catch {
        // It has ended already, or the system does not let us: it is played all the same.
      }
      let out = ''
      started.stdout.setEncoding('utf8').on('data', text => (out += text))
      started.on('error', reject)
      started.on('close', code => {
        const start = out.indexOf('{')
        if (start === -1) reject(new Error(`conversations of a part could not be played: it ended with ${code}`))
        else resolve(JSON.parse(out.slice(start)) as ConversationsFound)
      })
    })
  return Object.assign(play, { stop: () => void child?.kill('SIGKILL') })
}
