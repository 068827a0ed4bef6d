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

const [, , data = '', port = ''] = process.argv
const subject = measuredSubject()
const store = await subject.openRedisStore(data, Number(port))
const bot = await inProcess(subject, store, subject.clock)
const tell = (what: FromServer) => process.send?.(what)
let chats = 0

/** A family that this process acts for. */
function newChat(): string {
  for (;;) {
    chats += 1
    const chat = `${process.pid}-${chats}`
    if (store.sharing?.isOurs({ channel: 'web', chat }) !== false) return chat
  }
}

process.on('message', async ({ goMs }: ToServer) => {
  const until = performance.now() + goMs
  const isOver = () => performance.now() >= until
  const talks = Array.from({ length: AT_ONCE }, async () => {
    let answered = 0
    while (!isOver()) answered += await talkOf(bot.family(newChat()), isOver)
    return answered
  })
  tell({ answered: (await Promise.all(talks)).reduce((sum, one) => sum + one, 0) })
})
process.on('disconnect', async () => {
  await bot.stop()
  await store.close()
  process.exit()
})
// The second process takes its share within a lease.
tell({ ready: true })
