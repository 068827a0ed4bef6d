import { StoreUnusable } from '../store.ts'
import type { Nodes } from './nodes.ts'
import { listOf } from './rows.ts'

/**
 * What a Redis must keep. `always`: an answer comes after the disk has it. `everysec`: up to a second of what was answered
 * may be lost when the machine loses power. `nothing`: a demonstration.
 */
export type Durability = 'always' | 'everysec' | 'nothing'

/** The first release whose scripts may read the time and write. */
const OLDEST_RELEASE = 7

/** What keeps a Redis from being trusted with a night; empty when nothing does. Each says what to set. */
export async function volatileIn(nodes: Nodes, wanted: Durability): Promise<readonly string[]> {
  const found: string[] = []
  for (const address of new Set(nodes.owners)) {
    const info = String(await nodes.askNode(address, 'INFO', 'everything'))
    const field = (name: string): string => new RegExp(`^${name}:([^\r\n]*)`, 'm').exec(info)?.[1] ?? ''
    const say = (what: string): void => void found.push(`${address}: ${what}`)
    if (Number.parseInt(field('redis_version'), 10) < OLDEST_RELEASE)
      say(`Redis ${field('redis_version')} is too old: ${OLDEST_RELEASE}.0 or newer is expected`)
    if (wanted === 'nothing') continue
    if (field('aof_enabled') !== '1')
      say('it keeps no append-only file: set "appendonly yes", else a restart forgets every case')
    else if (field('aof_last_write_status') !== 'ok') say('its last write to disk failed: look at its disk and its log')
    if (!['noeviction', ''].includes(field('maxmemory_policy')))
      say(`it throws keys away when memory is short (${field('maxmemory_policy')}): set "maxmemory-policy noeviction"`)
    await refuseLateSync(nodes, address, wanted, say)
  }
  return found
}

async function refuseLateSync(
  nodes: Nodes,
  address: string,
  wanted: Durability,
  say: (what: string) => void,
): Promise<void> {
  const [, value] = listOf(await nodes.askNode(address, 'CONFIG', 'GET', 'appendfsync'))
  const sync = String(value ?? '')
  if (sync === 'always' || (sync === 'everysec' && wanted === 'everysec')) return
  const other = wanted === 'always' && sync === 'everysec'
  const choice = other
    ? ', or write "power-cut-may-lose: 1 s" under store to accept that a power cut loses the last second'
    : ''
  say(`it answers before the disk has it (appendfsync ${sync}): set "appendfsync always"${choice}`)
}

/** @throws StoreUnusable in words, with everything that is to be set */
export async function refuseVolatile(nodes: Nodes, wanted: Durability): Promise<void> {
  const found = await volatileIn(nodes, wanted)
  if (found.length > 0)
    throw new StoreUnusable(`this Redis cannot keep a night's cases. ${found.join('. ')}. See docs/operating/redis.md`)
}
