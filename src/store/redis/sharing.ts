import { type Instant, instant } from '../../time/instant.ts'
import type { Content, Sharing } from '../store.ts'
import { contentOf, storedContent } from './content.ts'
import type { Argument, Nodes, Reply } from './nodes.ts'
import type { Places } from './places.ts'
import type { ReplicaWatch } from './replicas.ts'
import { listOf, textOf } from './rows.ts'
import { type Script, scripts } from './scripts.ts'
import type { Shares } from './shares.ts'

/** Things that may wait in one shard; more than that, and whoever brings another is to come back. */
const WAITING_MOST = 1_000

export interface SharingParts {
  readonly nodes: Nodes
  readonly prefixOf: (shard: number) => string
  readonly where: Places
  readonly owning: Shares
  /** Present where replicas are wanted. */
  readonly replicas: ReplicaWatch | undefined
  readonly fenced: (shard: number, script: Script, args: readonly Argument[]) => Promise<Reply>
}

/** How processes divide the shards, and the inbox each shard has for what arrives at another's door. */
export function sharingOver({ nodes, prefixOf, where, owning, replicas, fenced }: SharingParts): Sharing<Content> {
  async function waitingIn(shard: number, limit: number) {
    const prefix = prefixOf(shard)
    const ids = listOf(await nodes.ask(shard, 'LRANGE', `${prefix}inbox-order`, 0, limit - 1)).map(String)
    if (ids.length === 0) return []
    const contents = listOf(await nodes.ask(shard, 'HMGET', `${prefix}inbox`, ...ids))
    return ids.flatMap((id, index) => {
      const content = contents[index]
      return content instanceof Buffer ? [{ id, content: contentOf(content), place: shard }] : []
    })
  }

  return {
    start: () => owning.start(),
    isOurs: chat => owning.fenceOf(where.ofChat(chat)) !== undefined,
    onTaken: listener =>
      owning.onTaken(taken => {
        const shards = new Set(taken.map(({ shard }) => shard))
        listener({
          has: chat => shards.has(where.ofChat(chat)),
          heardAt: earliest(taken.map(({ heardAt }) => heardAt)),
        })
      }),
    get isLead() {
      return owning.fenceOf(0) !== undefined
    },
    get isAlone() {
      return owning.members.length <= 1
    },
    figures: () => ({
      owned: owning.owned.length,
      shards: owning.count,
      processes: owning.members.length,
      alone: nodes.alone,
      ...(replicas === undefined ? {} : { replicas: replicas.figures() }),
    }),
    async put(chat, id, content) {
      const reply = await nodes.run(where.ofChat(chat), scripts.inboxPut, [id, storedContent(content), WAITING_MOST])
      return textOf(reply) === 'full' ? 'full' : 'kept'
    },
    async waiting(limit) {
      return (await Promise.all(owning.owned.map(shard => waitingIn(shard, limit)))).flat()
    },
    async done({ id, place }, answer) {
      await fenced(place, scripts.inboxDone, [id, answer])
    },
    async answer(chat, id) {
      const shard = where.ofChat(chat)
      return textOf(await nodes.ask(shard, 'GET', `${prefixOf(shard)}answer:${id}`)) ?? undefined
    },
  }
}

/** Of several times the earliest: what was out of touch longest decides whether questions are asked again. */
function earliest(times: readonly (number | undefined)[]): Instant | undefined {
  const known = times.flatMap(time => time ?? [])
  return known.length === 0 ? undefined : instant(Math.min(...known))
}
