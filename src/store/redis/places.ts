import { hash } from 'node:crypto'
import type { ChatRef } from '../../case/message.ts'
import type { Nodes } from './nodes.ts'

/** Cases and rows whose place is remembered, at most. */
const REMEMBERED_MOST = 20_000

/** Where things lie. All of a chat lies in one shard: its cases, what leaves for it, its alarms, its deliveries. */
export interface Places {
  ofChat(chat: ChatRef): number
  /** The shard of a case; undefined when it was never opened. */
  ofCase(caseId: string): Promise<number | undefined>
  /** Writes down where a case is to be opened; the shard that stands there, should it be another. */
  open(caseId: string, chat: ChatRef): Promise<number>
  ofRow(effectId: string): Promise<number | undefined>
  rememberRow(effectId: string, shard: number): void
}

/**
 * A case's id does not say its chat, so a directory does, itself spread over the shards by the case's id. It is written
 * before the first step and never changes: a case stays in its chat. An entry without a case is no case.
 */
export function places(nodes: Nodes, shards: number, prefixOf: (shard: number) => string): Places {
  const cases = new Map<string, number>()
  const rows = new Map<string, number>()

  const spread = (text: string): number => Number.parseInt(hash('sha256', text, 'hex').slice(0, 8), 16) % shards
  const directory = (shard: number): string => `${prefixOf(shard)}directory`
  const ofChat = ({ channel, chat }: ChatRef): number => spread(`${channel}\n${chat}`)

  async function ofCase(caseId: string): Promise<number | undefined> {
    const known = cases.get(caseId)
    if (known !== undefined) return known
    const keeper = spread(caseId)
    const found = await nodes.ask(keeper, 'HGET', directory(keeper), caseId)
    if (found === null) return undefined
    remember(cases, caseId, Number(found))
    return Number(found)
  }

  async function ofRow(effectId: string): Promise<number | undefined> {
    const known = rows.get(effectId)
    if (known !== undefined) return known
    const all = Array.from({ length: shards }, (_, shard) => shard)
    const found = await Promise.all(all.map(shard => nodes.ask(shard, 'EXISTS', `${prefixOf(shard)}row:${effectId}`)))
    const shard = found.indexOf(1)
    return shard < 0 ? undefined : shard
  }

  return {
    ofChat,
    ofCase,
    async open(caseId, chat) {
      const shard = ofChat(chat)
      if (cases.get(caseId) === shard) return shard
      const keeper = spread(caseId)
      const isNew = (await nodes.ask(keeper, 'HSETNX', directory(keeper), caseId, String(shard))) === 1
      if (!isNew) return (await ofCase(caseId)) ?? shard
      remember(cases, caseId, shard)
      return shard
    },
    ofRow,
    rememberRow: (effectId, shard) => remember(rows, effectId, shard),
  }
}

function remember(map: Map<string, number>, key: string, shard: number): void {
  if (map.size >= REMEMBERED_MOST) map.clear()
  map.set(key, shard)
}
