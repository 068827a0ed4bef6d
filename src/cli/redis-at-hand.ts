import { readFileSync } from 'node:fs'
import type { StoreRoute } from '../config/store-section.ts'
import { openRedisStore, type RedisStore, type RedisStoreOptions } from '../store/redis/redis-store.ts'
import type { Content } from '../store/store.ts'

/** A demonstration may run on a Redis that forgets: nobody real is helped by it. */
export function redisOptions(route: StoreRoute, isDemonstration: boolean): RedisStoreOptions {
  const { addresses, tls, user, passwordFile, authorityFile, line, replicas, mayLoseASecond } = route
  return {
    addresses,
    ...(tls ? { tls: authorityFile === undefined ? {} : { authority: readFileSync(authorityFile, 'utf8') } } : {}),
    ...(user === undefined ? {} : { user }),
    ...(passwordFile === undefined ? {} : { password: readFileSync(passwordFile, 'utf8').trim() }),
    line,
    replicas,
    durability: isDemonstration ? 'nothing' : mayLoseASecond ? 'everysec' : 'always',
  }
}

/** Opens the Redis that a clinic file names. */
export const openRedisOf = (
  route: StoreRoute,
  isDemonstration: boolean,
  onFault: (error: unknown) => void,
  more: Pick<RedisStoreOptions, 'member' | 'migrates'> = {},
): Promise<RedisStore<Content>> =>
  openRedisStore<Content>({ ...redisOptions(route, isDemonstration), onFault, ...more })

/** Why a line must not be joined from this folder. */
export const keysApart = (others: number): string =>
  `${others} of its processes work from another data folder, or from a copy of this one. Keys of cases lie in the folder: each would open cases the other cannot read`
