/**
 * A process that `measure` starts twice: it joins the line on a Redis and, when it is told to, answers families for a while.
 * Called with a data folder and the port of the Redis; ends when whoever started it goes.
 */

import { inProcess } from '../measure/in-process.ts'
import { talkOf } from '../measure/talk.ts'
import type { FromServer, ToServer } from '../measure/two-processes.ts'
import { measuredSubject } from './measure-subject.ts'

/** Conversations under way at a time. */
const AT_ONCE = 16
const LOOKED_EVERY_MS = 50

const [, , data = '', port = ''] = process.argv
const subject = measuredSubject()
const store = await subject.openRedisStore(data, Number(port))
const bot = await inProcess(subject, store, subject.clock)
const tell = (what: FromServer) => process.send?.(what)
let chats = 0
const pause = () => new Promise<void>(wake => subject.clock.wake(subject.clock.monotonicMs() + LOOKED_EVERY_MS, wake))

/** A family that this process acts for. */
function newChat(): string {
  for (;;) {
    chats += 1
    const chat = `${process.pid}-${chats}`
    if (store.sharing?.isOurs({ channel: 'web', chat }) !== false) return chat
  }
}

/** Ends when another process acts for the chat: its reply comes there, and nobody here hears it. */
async function moved(chat: string, signal: AbortSignal): Promise<number> {
  while (store.sharing?.isOurs({ channel: 'web', chat }) !== false && !signal.aborted) await pause()
  return 0
}

/** Each of the two acts for half of the cases: until then talks would move from one to the other. */
async function sharesAreEven(): Promise<void> {
  for (;;) {
    const { owned, shards, processes } = store.sharing?.figures() ?? { owned: 1, shards: 2, processes: 2 }
    if (processes === 2 && owned * processes === shards) return
    await pause()
  }
}

process.on('message', async ({ goMs }: ToServer) => {
  await sharesAreEven()
  const until = performance.now() + goMs
  const isOver = () => performance.now() >= until
  const talks = Array.from({ length: AT_ONCE }, async () => {
    let answered = 0
    while (!isOver()) {
      const chat = newChat()
      // A talk that moves away counts for nothing.
      const ended = new AbortController()
      answered += await Promise.race([talkOf(bot.family(chat), isOver), moved(chat, ended.signal)])
      ended.abort()
    }
    return answered
  })
  tell({ answered: (await Promise.all(talks)).reduce((sum, one) => sum + one, 0) })
})
process.on('disconnect', async () => {
  await bot.stop()
  await store.close()
  process.exit()
})
tell({ ready: true })
