import type { Nodes } from './nodes.ts'
import { listOf, textOf } from './rows.ts'
import { scripts } from './scripts.ts'

export interface SharesOptions {
  readonly nodes: Nodes
  readonly shards: number
  /** This process among those of the line; no two have the same. */
  readonly member: string
  /** How long a shard stays with a process that is not heard of, in milliseconds. */
  readonly leaseMs: number
  /** Told when an owner could not be asked or renewed. */
  readonly onFault: (error: unknown) => void
  /** Done beside each round of renewals. */
  readonly eachRound?: () => Promise<void>
}

/** A shard this process has come to act for. */
export interface Taken {
  readonly shard: number
  /** When whoever acted for it before was last heard of, by the clock of Redis in milliseconds; undefined when nobody did. */
  readonly heardAt: number | undefined
}

/** Which shards this process acts for. */
export interface Shares {
  /** Joins the others and takes what is free, up to an even share; then goes on so by itself. */
  start(): Promise<void>
  /** Leaves every shard, so that others take them at once. */
  stop(): Promise<void>
  /** What scripts that write are to show; undefined while another acts for the shard. */
  fenceOf(shard: number): string | undefined
  /** A script refused this fence: another has the shard. */
  lost(shard: number, fence: string): void
  readonly owned: readonly number[]
  /** Shards in all. */
  readonly count: number
  /** Processes of the line that live, as far as was heard. */
  readonly members: readonly string[]
  /** After one or more shards were taken. */
  onTaken(listener: (taken: readonly Taken[]) => void): void
  /** One round now, for tests. */
  round(): Promise<void>
}

/** Rounds in one lease: two may be missed. */
const ROUNDS_A_LEASE = 4

/**
 * An even share of the shards, by leases in Redis. Whoever has more than its share leaves some, whoever has less takes what
 * is free; a process that died is not heard of, and its shards are free when their leases end. A lease is a promise about
 * time and time may stop, so that no write rests on it: each script asks for the fence, which the next owner has raised.
 */
export function shares({ nodes, shards, member, leaseMs, onFault, eachRound }: SharesOptions): Shares {
  /** Fences of the shards that are ours as far as was heard. */
  const mine = new Map<number, string>()
  const listeners = new Set<(taken: readonly Taken[]) => void>()
  let members: readonly string[] = []
  let timer: NodeJS.Timeout | undefined
  let running: Promise<void> | undefined
  let stopped = false

  const own = (shard: number, act: string, fence: string) =>
    nodes.run(shard, scripts.own, [act, member, leaseMs, fence]).then(listOf)

  async function take(shard: number): Promise<Taken | undefined> {
    const [done, fence, heard] = await own(shard, 'take', '')
    if (done !== 1) return undefined
    mine.set(shard, textOf(fence) ?? '')
    const heardAt = textOf(heard) ?? ''
    return { shard, heardAt: heardAt === '' ? undefined : Number(heardAt) }
  }

  async function renew(shard: number, fence: string): Promise<void> {
    const [done] = await own(shard, 'renew', fence)
    if (done !== 1) lost(shard, fence)
  }

  function lost(shard: number, fence: string): void {
    if (mine.get(shard) === fence) mine.delete(shard)
  }

  async function leave(shard: number): Promise<void> {
    const fence = mine.get(shard)
    mine.delete(shard)
    if (fence !== undefined) await own(shard, 'leave', fence)
  }

  async function listed(ms: number): Promise<void> {
    const names = listOf(await nodes.run(0, scripts.members, [member, ms]))
    members = names.map(name => textOf(name) ?? '')
  }

  /** Renewals go on although some of the servers do not answer: each shard by itself. */
  async function round(): Promise<void> {
    const work: Promise<unknown>[] = [...mine].map(([shard, fence]) => renew(shard, fence))
    await all([listed(leaseMs), eachRound?.() ?? Promise.resolve(), ...work])
    if (stopped) return
    const share = Math.ceil(shards / Math.max(1, members.length))
    const spare = [...mine.keys()].slice(share)
    await all(spare.map(leave))
    const taken: Taken[] = []
    // Beginning at a place of one's own, so that two that start together do not ask for the same ones.
    const first = Math.max(0, members.indexOf(member)) * share
    for (let step = 0; step < shards && mine.size < share && !stopped; step += 1) {
      const shard = (first + step) % shards
      if (mine.has(shard)) continue
      await all([take(shard).then(one => one !== undefined && taken.push(one))])
    }
    if (taken.length > 0) for (const listener of listeners) listener(taken)
  }

  async function all(work: readonly Promise<unknown>[]): Promise<void> {
    for (const one of await Promise.allSettled(work)) if (one.status === 'rejected') onFault(one.reason)
  }

  /** One round at a time. */
  function turn(): Promise<void> {
    running ??= round().finally(() => {
      running = undefined
    })
    return running
  }

  return {
    async start() {
      await turn()
      timer = setInterval(() => void turn(), leaseMs / ROUNDS_A_LEASE)
      timer.unref()
    },
    async stop() {
      stopped = true
      clearInterval(timer)
      await running
      await all([...[...mine.keys()].map(leave), listed(0)])
    },
    fenceOf: shard => mine.get(shard),
    lost,
    count: shards,
    get owned() {
      return [...mine.keys()]
    },
    get members() {
      return members
    },
    onTaken: listener => void listeners.add(listener),
    round: turn,
  }
}
