/** Redis refuses for a reason that asking again does not cure. The message says what and what to do; it holds no content. */
export class RedisRefuses extends Error {
  override readonly name = 'RedisRefuses'
}

/** Redis gave no answer in time. Whether it did what was asked is not known; every write may be asked again. */
export class RedisSilent extends Error {
  override readonly name = 'RedisSilent'
}

/** What an answer of Redis that is an error means for the call. */
export type Meaning =
  | { readonly kind: 'moved'; readonly address: string; readonly once: boolean }
  | { readonly kind: 'script-unknown' }
  /** It passes: a start, a failover, a connection that broke. */
  | { readonly kind: 'again' }
  | { readonly kind: 'refused'; readonly todo: string }

const REFUSALS: readonly (readonly [start: string, todo: string])[] = [
  ['OOM', 'its memory is full: give it more (maxmemory), nothing that was answered is lost'],
  ['MISCONF', 'it cannot write to its disk: make room or mend the disk, then look at its log'],
  ['NOREPLICAS', 'too few replicas are connected (min-replicas-to-write): bring them back'],
  ['NOAUTH', 'it wants a password: name a password-file under store'],
  ['WRONGPASS', 'user or password are not the ones it knows: put the password-file right'],
  ['NOPERM', 'this user may not do that: allow it the commands and keys named in docs/operating/redis.md'],
]

const PASSING = /^(LOADING|CLUSTERDOWN|TRYAGAIN|MASTERDOWN|READONLY|UNBLOCKED|BUSY|ERR max number of clients)\b/
/** Of the connection: broken, not there yet, silent. */
const OF_THE_LINE =
  /^(Connection is closed|Command timed out|Stream isn't writeable|Reached the max retries|connect E|read E|write E|Command aborted)/i

export function meaningOf(error: unknown): Meaning {
  const message = error instanceof Error ? error.message : String(error)
  const moved = /^(MOVED|ASK) \d+ (\S+)$/.exec(message)
  if (moved?.[2] !== undefined) return { kind: 'moved', address: moved[2], once: moved[1] === 'ASK' }
  if (message.startsWith('NOSCRIPT')) return { kind: 'script-unknown' }
  if (PASSING.test(message) || OF_THE_LINE.test(message) || isOfSocket(error)) return { kind: 'again' }
  const refusal = REFUSALS.find(([start]) => message.startsWith(start) || message.includes(` ${start} `))
  return { kind: 'refused', todo: refusal?.[1] ?? 'look at its log, and whether another program writes under its keys' }
}

const isOfSocket = (error: unknown): boolean =>
  error instanceof Error &&
  (error.name === 'MaxRetriesPerRequestError' ||
    ('code' in error && /^(ECONN|EPIPE|ETIMEDOUT|EHOSTUNREACH|ENETUNREACH|ENOTFOUND)/.test(String(error.code))))

/** The first word of an error of Redis: all of it that may be written down. */
export const wordOf = (error: unknown): string =>
  /^[A-Z]{2,}\b|^[A-Za-z' ]{1,40}/.exec(error instanceof Error ? error.message : String(error))?.[0] ?? 'an error'
