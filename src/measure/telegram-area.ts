import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { figureOf, type Measured, median, ratios } from './figure.ts'
import { peer } from './peer.ts'
import { interleaved } from './rounds.ts'
import type { AreaContext, MeasuredTelegram } from './subject.ts'

/** Questions of a conversation, with how many times the peer's speed is wanted. */
const LENGTHS = [
  [10, 5],
  [20, 5],
  [80, 10],
] as const
/** Messages a round, in conversations of each length. */
const MESSAGES = 80
const LONGEST = 80
const ROUNDS = 7
/** Message numbers (from 1, inclusive) compared within a conversation of {@link LONGEST}: as many of each kind in both. */
const EARLY = [5, 8] as const
const LATE = [77, 80] as const

type Updates = 'k10' | 'k20' | 'k80'

/**
 * What one message on Telegram costs until its replies are in the outbox: brought by the pump, read, stepped, committed with
 * event, case, outbox and alarms, sealed and flushed, and confirmed. Sending is left out of the time. The peer is the
 * general-purpose way to hold a conversation with the same client, on the same database with the same flush; its replies go
 * to a server that answers at once.
 */
export async function telegramArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const plugin = conversationsPlugin(join(folder, 'peer.sqlite'))
  const bot = await subject.openTelegram(join(folder, 'ours'))
  const shares: number[] = []
  let chats = 100_000

  async function ours(length: number): Promise<number> {
    let spent = 0
    for (let left = MESSAGES / length; left > 0; left -= 1) {
      chats += 1
      const took = await talk(bot, chats, length)
      spent += took.reduce((sum, ms) => sum + ms, 0)
      if (length === LONGEST) shares.push(middle(took, LATE) / middle(took, EARLY))
    }
    return (MESSAGES * 1_000) / spent
  }

  const contenders = Object.fromEntries(
    LENGTHS.flatMap(([length]) => [
      [`k${length}`, () => ours(length)],
      [`peer${length}`, () => plugin.run(length, MESSAGES / length)],
    ]),
  ) as Record<Updates | `peer${10 | 20 | 80}`, () => Promise<number>>
  const rate = await interleaved(contenders, { what: 'telegram', progress, rounds: ROUNDS })
  await bot.stop()
  plugin.close()
  ground.removeFolder(folder)

  const a = (values: readonly number[]) => median(values).toFixed(0)
  return [
    ...LENGTHS.map(([length, target]) =>
      figureOf(
        {
          area: 'telegram',
          name: `updates a second, replies in the outbox, conversations of ${length} answers`,
          unit: 'times',
          bound: 'least',
          target,
          against: `${plugin.name}, node:sqlite ${process.versions.sqlite ?? ''}, synchronous FULL: ${a(rate[`k${length}`])} beside ${a(rate[`peer${length}`])}`,
        },
        ratios(rate[`k${length}`], rate[`peer${length}`]),
      ),
    ),
    figureOf(
      {
        area: 'telegram',
        name: `time of answers ${LATE[0]} to ${LATE[1]} of a conversation`,
        unit: 'times',
        bound: 'most',
        target: 1.2,
        against: `answers ${EARLY[0]} to ${EARLY[1]} of the same conversations`,
      },
      shares,
    ),
  ]
}

const middle = (took: readonly number[], [from, to]: readonly [number, number]): number =>
  median(took.slice(from - 1, to))

/** What goes on with the talk, where the first option would end it early. */
const GOES_ON = /^(None of these|Nothing)/

/** One family: words first, then a press on what is asked; from the fifth message on it changes its first answer at every second one. */
async function talk(bot: MeasuredTelegram, chat: number, length: number): Promise<readonly number[]> {
  const took: number[] = []
  let messages = 0
  let change = ''
  const from = { id: chat, is_bot: false, first_name: 'x', language_code: 'en' }
  const own = { id: chat, type: 'private', first_name: 'x' }
  const nextId = () => {
    messages += 1
    return messages
  }
  const says = (text: string) => ({ message: { message_id: nextId(), date: 0, chat: own, from, text } })
  const presses = (data: string) => ({
    callback_query: {
      ...{ id: `${chat}.${nextId()}`, from, chat_instance: 'x', data },
      message: { message_id: 1, date: 1, chat: own, text: 'x' },
    },
  })
  const bring = async (update: object): Promise<number> => {
    const started = performance.now()
    await bot.bring(update)
    const ms = performance.now() - started
    await bot.send()
    return ms
  }

  function answer(): object {
    const asked = bot.buttonsIn(`${chat}`, 'a')
    const chosen = asked.find(({ text }) => GOES_ON.test(text)) ?? asked[0]
    if (chosen === undefined) throw new Error('measure: a family on Telegram has no button to press')
    return presses(chosen.data)
  }

  took.push(await bring(says('her button came out and I do not know what to do')))
  while (took.length < length) {
    const message = took.length + 1
    if (message === EARLY[0]) {
      await bring(says('/change'))
      change = bot.buttonsIn(`${chat}`, 'x')[0]?.data ?? ''
      if (change === '') throw new Error('measure: nothing can be changed on Telegram')
    }
    took.push(await bring(message >= EARLY[0] && message % 2 === 1 ? presses(change) : answer()))
  }
  return took
}

/** What is used of the peer and of its client. */
interface Grammy {
  readonly Bot: new (
    token: string,
    options: object,
  ) => { use(middleware: unknown): void; handleUpdate(update: object): Promise<void> }
}
interface Talking {
  waitFor(filter: string): Promise<{ reply(text: string, more: object): Promise<unknown> }>
}
interface Plugin {
  conversations(options: object): unknown
  createConversation(build: (conversation: Talking) => Promise<void>, name: string): unknown
}

const REPLY_MARKUP = {
  inline_keyboard: ['Yes', 'No', 'Not sure'].map(text => [{ text, callback_data: text }]),
}

/** Conversations of so many questions, each kept in one row of a database that flushes at each commit. */
function conversationsPlugin(file: string) {
  const grammy = peer<Grammy>('grammy')
  const plugin = peer<Plugin>('@grammyjs/conversations')
  const db = new DatabaseSync(file)
  db.exec(
    'PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE talk (key TEXT PRIMARY KEY, state TEXT) STRICT',
  )
  const read = db.prepare('SELECT state FROM talk WHERE key = ?')
  const write = db.prepare('INSERT INTO talk VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET state = excluded.state')
  const forget = db.prepare('DELETE FROM talk WHERE key = ?')
  const adapter = {
    read: (key: string) => {
      const found = read.get(key)
      return found === undefined ? undefined : JSON.parse(String(found.state))
    },
    write: (key: string, state: unknown) => void write.run(key, JSON.stringify(state)),
    delete: (key: string) => void forget.run(key),
  }
  const answered = { ok: true, result: { message_id: 1, date: 0, chat: { id: 1, type: 'private' } } }
  const options = {
    botInfo: { id: 7_001, is_bot: true, first_name: 'Line', username: 'line_bot' },
    // As ours: a network that costs nothing.
    client: { fetch: async () => ({ json: async () => answered }) },
  }
  let chats = 0
  let updates = 0

  const botOf = (length: number) => {
    const bot = new grammy.module.Bot('7001:a-token_for-measurements-AAAA', options)
    bot.use(plugin.module.conversations({ storage: { type: 'key', adapter } }))
    bot.use(
      plugin.module.createConversation(async conversation => {
        for (let question = 0; question <= length; question += 1) {
          const heard = await conversation.waitFor(question === 0 ? 'message:text' : 'callback_query:data')
          if (question < length) await heard.reply(`What about number ${question}?`, { reply_markup: REPLY_MARKUP })
        }
      }, 'night'),
    )
    // The first message begins it, as a family's first words do.
    bot.use((context: { conversation: { enter(name: string): Promise<void> } }) => context.conversation.enter('night'))
    return bot
  }
  const bots = new Map(LENGTHS.map(([length]) => [length as number, botOf(length)]))

  async function run(length: number, conversations: number): Promise<number> {
    const bot = bots.get(length)
    if (bot === undefined) throw new Error(`measure: no conversation of ${length} answers was made`)
    let spent = 0
    for (let left = conversations; left > 0; left -= 1) {
      chats += 1
      const from = { id: chats, is_bot: false, first_name: 'x' }
      const chat = { id: chats, type: 'private', first_name: 'x' }
      const message = { message_id: 1, date: 0, chat, from, text: 'her button came out' }
      const update = (body: object) => {
        updates += 1
        return { update_id: updates, ...body }
      }
      await bot.handleUpdate(update({ message }))
      const started = performance.now()
      for (let answer = 0; answer < length; answer += 1) {
        const press = { id: `${updates}`, from, chat_instance: 'x', data: 'Yes', message }
        await bot.handleUpdate(update(answer === 0 ? { message } : { callback_query: press }))
      }
      spent += performance.now() - started
    }
    return (conversations * length * 1_000) / spent
  }
  return { name: plugin.name, run, close: () => db.close() }
}
