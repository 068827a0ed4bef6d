import { randomBytes } from 'node:crypto'
import { type Instant, instant } from '../../time/instant.ts'
import {
  type AlarmRow,
  type Content,
  type Lane,
  NotOurs,
  type OutboxRow,
  type SealableStore,
  type Sharing,
  type StepRecord,
  type StoredCase,
  type StoredEvent,
  StoreUnusable,
} from '../store.ts'
import { contentOf, packed, storedContent, unpacked } from './content.ts'
import { type Durability, refuseVolatile } from './durability.ts'
import { type Found, LAYOUT, type Layout, layoutIn, migrate } from './layout.ts'
import { type Argument, connectNodes, type Nodes, type NodesOptions, type Reply } from './nodes.ts'
import { type Places, places } from './places.ts'
import { watchReplicas } from './replicas.ts'
import { byLatest, headsIn, listOf, type PlacedHead, rowsIn, textOf } from './rows.ts'
import { type Script, scripts } from './scripts.ts'
import { type Shares, shares } from './shares.ts'
import { sharingOver } from './sharing.ts'

const SHARDS = 16
const LEASE_MS = 5_000
/** Why a row of an erased case was not sent. */
const ERASED = 'case-erased'
/** Cases read side by side. */
const AT_ONCE = 64

export interface RedisStoreOptions extends NodesOptions {
  /** Begins every key, so that lines can share a server. Default "sh". */
  readonly line?: string
  /** Parts the cases are spread over, at the first start; then they stay. Default 16. */
  readonly shards?: number
  readonly durability: Durability
  /** Replicas that must have a step before it is answered, as far as they are there. */
  readonly replicas?: number
  /** Default 5,000. */
  readonly leaseMs?: number
  /** This process among those of the line. Default: drawn. */
  readonly member?: string
  /** Brings an older layout to this program's; left out, an older one is refused. For the line itself alone. */
  readonly migrates?: boolean
  /** How the keys lie; default this program's. */
  readonly layout?: Layout
  readonly onFault?: (error: unknown) => void
}

/** The store over one Redis or a cluster. It writes for the shards this process acts for; it reads and erases everywhere. */
export interface RedisStore<C extends Content = string> extends SealableStore<C> {
  readonly shares: Shares
  readonly places: Places
  readonly nodes: Nodes
  readonly prefixOf: (shard: number) => string
  readonly sharing: Sharing<C>
  /** Whether no case was ever opened in it. */
  isEmpty(): Promise<boolean>
  /** Processes of the line that live now, whether or not this one has joined them. */
  living(): Promise<readonly string[]>
}

/**
 * Opens the distributed store. What `commit` acknowledged survives the death of every process and, as far as Redis was set
 * to wait for its disk, of its machine; what a failover may lose is said in docs/decisions/2026-11-30-redis-shards.md.
 *
 * @throws StoreUnusable when it cannot be trusted with a night, or is of a newer layout; RedisSilent when it does not answer
 */
export async function openRedisStore<C extends Content = string>(options: RedisStoreOptions): Promise<RedisStore<C>> {
  const line = options.line ?? 'sh'
  const prefixOf = (shard: number): string => `{${line}${shard}}:`
  const first = await connectNodes(options, 1, prefixOf)
  const layout = options.layout ?? LAYOUT
  let found: Found
  try {
    await refuseVolatile(first, options.durability)
    found = await layoutIn(first, prefixOf(0), options.shards ?? SHARDS, layout)
  } finally {
    first.close()
  }
  const nodes = await connectNodes(options, found.shards, prefixOf)
  const member = options.member ?? randomBytes(8).toString('hex')
  try {
    // A cluster may be set differently on each of its servers.
    await refuseVolatile(nodes, options.durability)
    if (found.schema < layout.schema) {
      if (options.migrates !== true)
        throw new StoreUnusable(
          `Redis: its layout ${found.schema} is older than layout ${layout.schema} of this program; the next start of "smallhours serve" brings it up, then run this again`,
        )
      await migrate(nodes, prefixOf, found, layout, member)
    }
  } catch (error) {
    nodes.close()
    throw error
  }
  return storeOver<C>(nodes, found.shards, prefixOf, member, options)
}

function storeOver<C extends Content>(
  nodes: Nodes,
  count: number,
  prefixOf: (shard: number) => string,
  member: string,
  options: RedisStoreOptions,
): RedisStore<C> {
  const onFault = options.onFault ?? (() => undefined)
  const where: Places = places(nodes, count, prefixOf)
  const wanted = options.replicas ?? 0
  const replicas = wanted === 0 ? undefined : watchReplicas(nodes, wanted, onFault)
  const owning = shares({
    ...{ nodes, shards: count, member, leaseMs: options.leaseMs ?? LEASE_MS, onFault },
    eachRound: async () => replicas?.look(),
  })
  const all = Array.from({ length: count }, (_, shard) => shard)
  const listeners = new Set<() => void>()
  const underWay = new Set<Promise<unknown>>()
  const stale = new Set<number>()
  let operations = 0
  let closing: Promise<void> | undefined
  owning.onTaken(taken => {
    for (const { shard } of taken) stale.add(shard)
  })

  /** Apart from the call that led to it: a listener that throws must not spoil its answer. */
  function notify(): void {
    for (const listener of listeners) queueMicrotask(listener)
  }

  /** A command comes twice with the same one only. */
  const operation = (): string => {
    operations += 1
    return `${member}.${operations}`
  }

  function tracked<T>(work: () => Promise<T>, act: string): Promise<T> {
    if (closing !== undefined) return Promise.reject(new Error(`the store is closed: open it again before ${act}`))
    const under = work()
    underWay.add(under)
    const done = () => underWay.delete(under)
    under.then(done, done)
    return under
  }
  const read = <T>(work: () => Promise<T>): Promise<T> => tracked(work, 'reading')
  const write = <T>(work: () => Promise<T>): Promise<T> => tracked(work, 'writing')

  /** Runs a script that asks for the fence of its shard. */
  async function fenced(shard: number, script: Script, args: readonly Argument[], replicas = 0): Promise<Reply> {
    // Without a shard of ours the script is asked all the same: that a row was sent counts from anybody.
    const fence = owning.fenceOf(shard) ?? 'none'
    const reply = await nodes.run(shard, script, [fence, ...args], replicas)
    if (textOf(reply) !== 'fenced') return reply
    owning.lost(shard, fence)
    throw new NotOurs(`store: another process acts for shard ${shard} now; nothing was written here`)
  }

  async function commit(step: StepRecord<Content>): Promise<'committed' | 'duplicate' | 'conflict'> {
    const { chat, caseId, delivery, alarms, from } = step
    const shard = from === 0 ? await where.open(caseId, chat) : ((await where.ofCase(caseId)) ?? where.ofChat(chat))
    const args: Argument[] = [
      operation(),
      caseId,
      chat.channel,
      chat.chat,
      from,
      step.at,
      step.closed ? 1 : 0,
      storedContent(step.state),
      packed([step.event, step.effects]),
      delivery === undefined ? '' : `${delivery.channel}\n${delivery.deliveryId}`,
      alarms.cancel.length,
      ...alarms.cancel,
      alarms.set.length,
      ...alarms.set.flatMap(({ name, due }) => [name, due]),
      ...step.outbox.flatMap(({ effectId, lane, queue, effect, notBefore }): Argument[] => [
        effectId,
        lane,
        queue,
        storedContent(effect),
        notBefore,
      ]),
    ]
    const answer = textOf(await fenced(shard, scripts.commit, args, wanted))
    switch (answer) {
      case 'committed':
        notify()
        return answer
      case 'duplicate':
      case 'conflict':
        return answer
      case 'row-taken':
        throw new Error(`outbox: a row of case "${caseId}" is there already; expected effect ids never used before`)
      default:
        throw new Error(
          `store: case "${caseId}" came with another chat than it was opened in; a case stays in its chat`,
        )
    }
  }

  async function caseAt(shard: number, caseId: string): Promise<StoredCase<Content> | undefined> {
    const key = `${prefixOf(shard)}case:${caseId}`
    const found = listOf(await nodes.ask(shard, 'HMGET', key, 'channel', 'chat', 'seq', 'closed', 'at', 'state'))
    const [channel, chat, seq, closed, at, state] = found
    if (!(state instanceof Buffer)) return undefined
    return {
      caseId,
      chat: { channel: String(channel), chat: String(chat) },
      seq: Number(seq),
      closed: textOf(closed) === '1',
      changedAt: instant(Number(at)),
      state: contentOf(state),
    }
  }

  async function load(caseId: string): Promise<StoredCase<Content> | undefined> {
    const shard = await where.ofCase(caseId)
    return shard === undefined ? undefined : caseAt(shard, caseId)
  }

  const heads = async (shard: number, ...args: readonly Argument[]): Promise<readonly PlacedHead[]> =>
    headsIn(await nodes.run(shard, scripts.heads, args))

  const everywhere = async <T>(among: readonly number[], ask: (shard: number) => Promise<readonly T[]>): Promise<T[]> =>
    (await Promise.all(among.map(ask))).flat()

  /** The cases themselves, some at a time, in the order of their heads. */
  async function casesOf(found: readonly PlacedHead[]): Promise<readonly StoredCase<Content>[]> {
    const cases: StoredCase<Content>[] = []
    for (let from = 0; from < found.length; from += AT_ONCE) {
      const some = await Promise.all(found.slice(from, from + AT_ONCE).map(({ head }) => load(head.caseId)))
      cases.push(...some.flatMap(one => one ?? []))
    }
    return cases
  }

  const recent = async (since: Instant): Promise<readonly PlacedHead[]> =>
    (await everywhere(all, shard => heads(shard, 'recent', since))).sort(byLatest)

  async function history(caseId: string): Promise<readonly StoredEvent<Content>[]> {
    const shard = await where.ofCase(caseId)
    if (shard === undefined) return []
    const list = (name: string) => nodes.ask(shard, 'LRANGE', `${prefixOf(shard)}${name}:${caseId}`, 0, -1).then(listOf)
    const [events, instants] = await Promise.all([list('events'), list('instants')])
    // A step may have come between the two reads: what both know is whole.
    return instants.slice(0, events.length).flatMap((at, index) => eventOf(caseId, index + 1, events[index], at))
  }

  async function event(caseId: string, seq: number): Promise<StoredEvent<Content> | undefined> {
    const shard = await where.ofCase(caseId)
    if (shard === undefined) return undefined
    const one = (name: string) => nodes.ask(shard, 'LINDEX', `${prefixOf(shard)}${name}:${caseId}`, seq - 1)
    const [found, at] = await Promise.all([one('events'), one('instants')])
    return eventOf(caseId, seq, found, at)[0]
  }

  /** A shard that does not answer must not stop the others. */
  function unclaimed(error: unknown): void {
    onFault(error)
    if (owning.owned.length === 1 && !(error instanceof NotOurs)) throw error
  }

  /** Shards where a row is due, or a lease has ended: all are looked at at once, so that few have to be claimed from one by one. */
  async function withDue(shards: readonly number[], lane: Lane, at: Instant): Promise<readonly number[]> {
    const looks = shards.map(async shard => {
      const keys = ['waiting', 'leased'].map(name => `${prefixOf(shard)}${name}:${lane}`)
      const found = await Promise.all(
        keys.map(key => nodes.ask(shard, 'ZRANGEBYSCORE', key, '-inf', at, 'LIMIT', 0, 1)),
      )
      return found.some(rows => listOf(rows).length > 0)
    })
    const looked = await Promise.allSettled(looks)
    for (const look of looked) if (look.status === 'rejected') unclaimed(look.reason)
    return shards.filter((_, index) => looked[index]?.status === 'fulfilled' && looked[index].value)
  }

  async function claim(
    lane: Lane,
    at: Instant,
    leaseMs: number,
    limit: number,
  ): Promise<readonly OutboxRow<Content>[]> {
    const claimed: { readonly row: OutboxRow<Content>; readonly place: number }[] = []
    // Each shard in its turn, so that one with much to send does not keep the others waiting, and never more than asked.
    const owned = owning.owned
    const first = owned.length === 0 ? 0 : operations % owned.length
    const inTurn = [...owned.slice(first), ...owned.slice(0, first)]
    for (const shard of await withDue(inTurn, lane, at)) {
      if (claimed.length >= limit) break
      try {
        const args = [operation(), lane, at, at + leaseMs, limit - claimed.length]
        const rows = rowsIn(await fenced(shard, scripts.claim, args))
        for (const { row } of rows) where.rememberRow(row.effectId, shard)
        claimed.push(...rows)
      } catch (error) {
        // What was claimed already must be sent.
        unclaimed(error)
      }
    }
    return claimed.sort((a, b) => a.row.notBefore - b.row.notBefore || a.place - b.place).map(({ row }) => row)
  }

  async function ofRow(effectId: string, act: string): Promise<number> {
    const shard = await where.ofRow(effectId)
    if (shard === undefined) throw missing(effectId, act)
    return shard
  }

  async function settled(effectId: string, args: readonly Argument[]): Promise<void> {
    const reply = await fenced(await ofRow(effectId, 'settle'), scripts.settle, [effectId, ...args])
    if (textOf(reply) === 'missing') throw missing(effectId, 'settle')
    notify()
  }

  async function dueIn(shard: number, at: Instant, most: number): Promise<readonly AlarmRow[]> {
    const key = `${prefixOf(shard)}alarms`
    const flat = listOf(await nodes.ask(shard, 'ZRANGEBYSCORE', key, '-inf', at, 'WITHSCORES', 'LIMIT', 0, most))
    return flat.flatMap((member, index) => (index % 2 === 0 ? [alarmOf(String(member), Number(flat[index + 1]))] : []))
  }

  /** A share of each shard is asked for, since all of each would be thrown away but one part in as many as there are shards. */
  async function due(at: Instant, limit: number): Promise<readonly AlarmRow[]> {
    const owned = owning.owned
    const share = Math.min(limit, 2 * Math.ceil(limit / Math.max(1, owned.length)))
    const found = await Promise.all(owned.map(shard => dueIn(shard, at, share)))
    // What a full share left behind may come before what another shard gave: only what lies before its end is sure.
    const ends = found.flatMap(rows => (rows.length < share ? [] : (rows.at(-1) ?? [])))
    const sure = found.flat().filter(row => ends.every(end => byDue(row, end) <= 0))
    if (share === limit || sure.length >= limit) return sure.sort(byDue).slice(0, limit)
    const isWhole = (index: number) => (found[index]?.length ?? 0) < share
    const whole = await Promise.all(
      owned.map((shard, index) => (isWhole(index) ? (found[index] ?? []) : dueIn(shard, at, limit))),
    )
    return whole.flat().sort(byDue).slice(0, limit)
  }

  async function nextDue(): Promise<Instant | undefined> {
    const found = await everywhere(owning.owned, async shard => {
      const [, score] = listOf(await nodes.ask(shard, 'ZRANGE', `${prefixOf(shard)}alarms`, 0, 0, 'WITHSCORES'))
      return score === undefined ? [] : [Number(score)]
    })
    return found.length === 0 ? undefined : instant(Math.min(...found))
  }

  async function close(): Promise<void> {
    while (underWay.size > 0) await Promise.allSettled(underWay)
    await owning.stop()
    listeners.clear()
    nodes.close()
  }

  const store: RedisStore<Content> = {
    shares: owning,
    places: where,
    nodes,
    prefixOf,
    sharing: sharingOver({ nodes, prefixOf, where, owning, replicas, fenced }),
    isEmpty: () =>
      read(async () => {
        const opened = await everywhere(all, async shard => [
          await nodes.ask(shard, 'EXISTS', `${prefixOf(shard)}counts`),
        ])
        return opened.every(one => one === 0)
      }),
    living: () =>
      read(async () => listOf(await nodes.run(0, scripts.members, ['', 0])).map(name => textOf(name) ?? '')),
    load: caseId => read(() => load(caseId)),
    casesOf: chat =>
      read(async () => {
        const found = await heads(where.ofChat(chat), 'of-chat', chat.channel, chat.chat)
        return casesOf([...found].sort(byLatest))
      }),
    recent: since => read(async () => casesOf(await recent(since))),
    recentHeads: since => read(async () => (await recent(since)).map(({ head }) => head)),
    // Held at once: their ids are in the memory of Redis as well.
    async *heads() {
      const all = await read(async () => (await recent(instant(0))).map(({ head }) => head))
      yield* all.sort((a, b) => (a.caseId < b.caseId ? -1 : 1))
    },
    history: caseId => read(() => history(caseId)),
    event: (caseId, seq) => read(() => event(caseId, seq)),
    closedBefore: olderThan =>
      read(async () => {
        const found = await everywhere(all, shard => heads(shard, 'closed-before', olderThan))
        return found
          .sort((a, b) => a.head.changedAt - b.head.changedAt || a.opened - b.opened)
          .map(({ head }) => head.caseId)
      }),
    outboxOf: caseId =>
      read(async () => {
        const shard = await where.ofCase(caseId)
        return shard === undefined ? [] : rowsIn(await nodes.run(shard, scripts.outbox, [caseId])).map(({ row }) => row)
      }),
    due: (at, limit) => read(() => due(at, limit)),
    nextDue: () => read(nextDue),
    alarmOf: (caseId, name) =>
      read(async () => {
        const shard = await where.ofCase(caseId)
        if (shard === undefined) return undefined
        const found = await nodes.ask(shard, 'HGET', `${prefixOf(shard)}case:${caseId}`, `alarm:${name}`)
        return found === null ? undefined : instant(Number(found))
      }),
    commit: step => write(() => commit(step)),
    claim: (lane, at, leaseMs, limit) => write(() => claim(lane, at, leaseMs, limit)),
    rendered: (effectId, content, at) =>
      write(async () => {
        const shard = await ofRow(effectId, 'render')
        const reply = await fenced(shard, scripts.rendered, [effectId, storedContent(content), at])
        if (textOf(reply) === 'missing') throw missing(effectId, 'render')
      }),
    settle: (effectId, outcome, tries) =>
      write(() =>
        settled(effectId, [
          outcome.kind,
          outcome.kind === 'again' ? outcome.notBefore : outcome.at,
          outcome.kind === 'again' && outcome.outcomeUnknown ? 1 : 0,
          outcome.kind === 'given-up' ? outcome.reason : '',
          tries ?? '',
        ]),
      ),
    releaseLeases: () =>
      write(async () => {
        const counts = await everywhere([...stale], async shard => {
          const released = Number(await fenced(shard, scripts.release, []))
          stale.delete(shard)
          return [released]
        })
        return counts.reduce((sum, one) => sum + one, 0)
      }),
    forget: (caseId, mark, at) =>
      write(async () => {
        const shard = await where.ofCase(caseId)
        if (shard === undefined) return
        await nodes.run(shard, scripts.forget, [caseId, storedContent(mark), packed([mark, mark]), at, ERASED])
      }),
    onCommitted: listener => {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
    probe: () =>
      write(async () => {
        const one = new Map(nodes.owners.map((address, shard) => [address, shard]))
        // Gone by itself within a second, so that it leaves no trace.
        await Promise.all(
          [...one.values()].map(shard => nodes.ask(shard, 'SET', `${prefixOf(shard)}probe`, '', 'PX', 1_000)),
        )
      }),
    queued: () => underWay.size,
    close: () => (closing ??= close()),
  }
  // What comes out is what went in: rows of one store are written with one kind of content.
  return store as unknown as RedisStore<C>
}

const missing = (effectId: string, act: string): Error =>
  new Error(`outbox: no row "${effectId}" to ${act}; expected the id of a claimed row`)

function eventOf(
  caseId: string,
  seq: number,
  stored: Reply | undefined,
  at: Reply | undefined,
): StoredEvent<Content>[] {
  if (!(stored instanceof Buffer)) return []
  const [event = '', effects = ''] = unpacked(stored)
  return [{ caseId, seq, at: instant(Number(at)), event, effects }]
}

function alarmOf(member: string, due: number): AlarmRow {
  const [caseId = '', name = ''] = member.split('\0')
  return { caseId, name, due: instant(due) }
}

const byDue = (a: AlarmRow, b: AlarmRow): number =>
  a.due - b.due || compare(a.caseId, b.caseId) || compare(a.name, b.name)

const compare = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0)
