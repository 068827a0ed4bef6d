import type { ChatRef } from '../../case/message.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { type Content, StoreUnusable } from '../store.ts'
import {
  type Movable,
  stepsInOrder,
  type WholeCase,
  type WholeChat,
  type WholeRow,
  type WholeStep,
} from '../whole-chat.ts'
import { contentOf, packed, storedContent, unpacked } from './content.ts'
import type { Argument, Reply } from './nodes.ts'
import type { RedisStore } from './redis-store.ts'
import { fieldsOf, listOf, rowsIn, textOf } from './rows.ts'
import { scripts } from './scripts.ts'

/** Deliveries written at once. */
const AT_ONCE = 1_000

/**
 * A store in Redis, to be carried over or filled.
 *
 * @param store  for filling, this process must act for all of it: see `actForAll`
 */
export function movableRedis(store: RedisStore<Content>): Movable {
  const { nodes, prefixOf, shares, places } = store
  const all = Array.from({ length: shares.count }, (_, shard) => shard)

  async function chatsOf(shard: number): Promise<readonly ChatRef[]> {
    const prefix = `${prefixOf(shard)}chat:`
    const found: ChatRef[] = []
    // The servers of a cluster each know their own keys only.
    const address = nodes.owners[shard] ?? ''
    for (let cursor = '0'; ; ) {
      const [next, keys] = listOf(
        await nodes.askNode(address, 'SCAN', cursor, 'MATCH', `${globbed(prefix)}*`, 'COUNT', 500),
      )
      for (const key of listOf(keys)) {
        const [channel = '', ...chat] = String(key).slice(prefix.length).split('\n')
        found.push({ channel, chat: chat.join('\n') })
      }
      cursor = textOf(next) ?? '0'
      if (cursor === '0') return distinct(found)
    }
  }

  async function put(whole: WholeChat): Promise<boolean> {
    const shard = places.ofChat(whole.chat)
    const counts = listOf(await nodes.ask(shard, 'HMGET', `${prefixOf(shard)}counts`, 'opened', 'place'))
    const [opened = 0, place = 0] = counts.map(count => Number(count ?? 0))
    for (const { caseId } of whole.cases)
      if ((await places.open(caseId, whole.chat)) !== shard)
        throw new StoreUnusable(`Redis: a case "${caseId}" is there in another chat; name an empty line under store`)
    const commands = commandsFor(whole, opened, place)
    const flat = commands.flatMap((words): Argument[] => [words.length, ...words])
    const fence = shares.fenceOf(shard) ?? 'none'
    const reply = await nodes.run(shard, scripts.chatIn, [fence, whole.chat.channel, whole.chat.chat, ...flat])
    if (textOf(reply) === 'fenced') throw notAlone()
    return textOf(reply) === 'written'
  }

  return {
    chats: async () => (await Promise.all(all.map(chatsOf))).flat(),
    async take(chat) {
      const reply = await nodes.run(places.ofChat(chat), scripts.chatOut, [chat.channel, chat.chat])
      return { chat, cases: listOf(reply).map(caseOf) }
    },
    put,
    async deliveries() {
      const members = await Promise.all(
        all.map(async shard => listOf(await nodes.ask(shard, 'SMEMBERS', `${prefixOf(shard)}deliveries`)).map(String)),
      )
      return [...new Set(members.flat())].map(member => {
        const [channel = '', ...id] = member.split('\n')
        return { channel, deliveryId: id.join('\n') }
      })
    },
    /** Into every shard: a file does not know of which chat a delivery was. */
    async putDeliveries(deliveries) {
      const members = deliveries.map(({ channel, deliveryId }) => `${channel}\n${deliveryId}`)
      for (let from = 0; from < members.length; from += AT_ONCE)
        for (const shard of all)
          await nodes.ask(shard, 'SADD', `${prefixOf(shard)}deliveries`, ...members.slice(from, from + AT_ONCE))
    },
    close: () => store.close(),
  }
}

/** @throws StoreUnusable when another process lives on this line */
export async function actForAll({ shares }: RedisStore<Content>): Promise<void> {
  await shares.start()
  if (shares.owned.length < shares.count) throw notAlone()
}

const notAlone = (): StoreUnusable =>
  new StoreUnusable(
    'Redis: another process serves this line, or did within the last seconds. Stop every "smallhours serve" of it, wait ten seconds, and begin again',
  )

function commandsFor(whole: WholeChat, opened: number, placed: number): Argument[][] {
  const { channel, chat } = whole.chat
  const commands: Argument[][] = []
  const say = (...words: Argument[]): void => void commands.push(words)
  for (const [index, one] of whole.cases.entries()) {
    const { caseId, seq, closed, changedAt, state, alarms } = one
    say('HSET', `case:${caseId}`, 'channel', channel, 'chat', chat, 'opened', opened + index + 1, 'seq', seq)
    say('HSET', `case:${caseId}`, 'closed', closed ? 1 : 0, 'at', changedAt, 'state', storedContent(state))
    if (closed) say('ZADD', isErased(one) ? 'erased' : 'closed', changedAt, caseId)
    else say('SADD', 'open', caseId)
    for (const { name, due } of alarms) {
      say('HSET', `case:${caseId}`, `alarm:${name}`, due)
      say('ZADD', 'alarms', due, `${caseId}\0${name}`)
    }
    for (const { at, event, effects } of one.steps) {
      say('RPUSH', `events:${caseId}`, packed([event, effects]))
      say('RPUSH', `instants:${caseId}`, at)
    }
  }
  let place = placed
  const queues = new Set<string>()
  for (const { of, seq, step } of stepsInOrder(whole)) {
    for (const row of step.rows) {
      place += 1
      commands.push(...rowCommands(of.caseId, seq, row, String(place).padStart(16, '0'), queues))
    }
  }
  say('HINCRBY', 'counts', 'opened', whole.cases.length)
  say('HINCRBY', 'counts', 'place', place - placed)
  // Last, so that what is there is whole.
  say('RPUSH', `chat:${channel}\n${chat}`, ...whole.cases.map(({ caseId }) => caseId))
  return commands
}

function rowCommands(caseId: string, seq: number, row: WholeRow, place: string, queues: Set<string>): Argument[][] {
  const { effectId, lane, queue, effect, notBefore, tries, status, content, renderedAt, settledAt, reason } = row
  const key = `row:${effectId}`
  const commands: Argument[][] = [
    [
      'HSET',
      key,
      'case',
      caseId,
      'seq',
      seq,
      'lane',
      lane,
      'queue',
      queue,
      'place',
      place,
      'effect',
      storedContent(effect),
    ],
    ['HSET', key, 'due', notBefore, 'tries', tries, 'unknown', row.outcomeUnknown ? 1 : 0, 'status', status],
    ['RPUSH', `rows:${caseId}`, effectId],
  ]
  if (renderedAt !== undefined) commands.push(['HSET', key, 'rendered', renderedAt])
  if (settledAt !== undefined) commands.push(['HSET', key, 'settled', settledAt])
  if (reason !== undefined) commands.push(['HSET', key, 'reason', reason])
  if (content !== undefined) commands.push(['SET', `text:${effectId}`, storedContent(content)])
  if (status !== 'waiting') return commands
  const name = `queue:${lane}:${queue}`
  commands.push(['RPUSH', name, effectId])
  if (!queues.has(name)) commands.push(['ZADD', `waiting:${lane}`, notBefore, `${place}${effectId}`])
  queues.add(name)
  return commands
}

/** Every event of an erased case holds the same mark as its state. */
const isErased = ({ state, steps }: WholeCase): boolean =>
  typeof state === 'string' && steps.every(({ event, effects }) => event === state && effects === state)

function caseOf(reply: Reply): WholeCase {
  const [id, fields, events, instants, rows] = listOf(reply)
  const of = fieldsOf(fields)
  const field = (name: string): string => of.get(name)?.toString() ?? ''
  const state = of.get('state')
  const bySeq = Map.groupBy(rowsIn(rows ?? null), ({ row }) => row.seq)
  const raw = new Map(listOf(rows).map(one => [textOf(listOf(one)[0]) ?? '', fieldsOf(listOf(one)[1])]))
  let order = 0
  const steps = listOf(events).map((stored, index): WholeStep => {
    const [event = '', effects = ''] = stored instanceof Buffer ? unpacked(stored) : []
    const mine = bySeq.get(index + 1) ?? []
    order = mine[0]?.place ?? order
    const at = instant(Number(textOf(listOf(instants)[index])))
    return { order, at, event, effects, rows: mine.map(({ row }) => wholeRow(row, raw.get(row.effectId) ?? new Map())) }
  })
  return {
    caseId: textOf(id) ?? '',
    seq: Number(field('seq')),
    closed: field('closed') === '1',
    changedAt: instant(Number(field('at'))),
    state: state === undefined ? '' : contentOf(state),
    alarms: [...of]
      .filter(([name]) => name.startsWith('alarm:'))
      .map(([name, due]) => ({ name: name.slice(6), due: instant(Number(due.toString())) }))
      .sort((a, b) => (a.name < b.name ? -1 : 1)),
    steps,
  }
}

function wholeRow(row: ReturnType<typeof rowsIn>[number]['row'], fields: ReadonlyMap<string, Buffer>): WholeRow {
  const { caseId: _case, seq: _seq, sentAt: _sent, ...rest } = row
  const settled = fields.get('settled')
  const settledAt: Instant | undefined = settled === undefined ? undefined : instant(Number(settled.toString()))
  const wasLeased = fields.has('leased') && fields.has('rendered')
  return {
    ...rest,
    outcomeUnknown: row.outcomeUnknown || wasLeased,
    ...(settledAt === undefined ? {} : { settledAt }),
  }
}

/** A key may hold what a pattern takes for its own. */
const globbed = (text: string): string => text.replaceAll(/[*?[\]\\]/g, '\\$&')

/** SCAN may give a key twice. */
const distinct = (chats: readonly ChatRef[]): readonly ChatRef[] => [
  ...new Map(chats.map(one => [JSON.stringify([one.channel, one.chat]), one])).values(),
]
