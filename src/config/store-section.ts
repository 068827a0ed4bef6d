import { z } from 'zod'
import { isLoopback, isReservedName } from './fiction.ts'
import type { PartReader } from './part-reader.ts'

/** The Redis that keeps the cases; left out where they lie in a file of the data folder. The password stands in a file of its own. */
export interface StoreRoute {
  readonly addresses: readonly { readonly host: string; readonly port: number }[]
  readonly tls: boolean
  readonly user?: string
  readonly passwordFile?: string
  /** File of the certificate authority that the server's certificate is checked against; left out: those the machine trusts. */
  readonly authorityFile?: string
  /** Begins every key. */
  readonly line: string
  /** Whether a power cut may lose the last second of what was answered. */
  readonly mayLoseASecond: boolean
  /** Replicas that must have a step before it is answered, as far as they are there. */
  readonly replicas: number
}

const text = (what: string) => z.string({ error: what }).trim().min(1, { error: what })
const DEFAULT_PORT = 6_379
const addressExpected = 'the address of a Redis, like rediss://store.example.org:6379'
const address = z
  .string({ error: addressExpected })
  .regex(/^rediss?:\/\/[A-Za-z0-9.\-[\]:]+\/?$/, { error: addressExpected })
// Keys begin with the line and the number of a part: "sh" and "sh1" on one Redis would share some.
const lineExpected = 'at most 20 small letters, digits and hyphens, no digit at the end'
const lossExpected = '"nothing" or "1 s"'
const REPLICAS_MOST = 3
const replicasExpected = `a whole number from 0 to ${REPLICAS_MOST}`

const storeShape = z.strictObject(
  {
    redis: z.union([address, z.array(address).min(1)], { error: addressExpected }),
    user: text('the user that the Redis knows').optional(),
    'password-file': text('the file that holds the password').optional(),
    'authority-file': text('the file of the certificate authority').optional(),
    'unencrypted-network': z.literal('trusted', { error: '"trusted", where nobody else can listen' }).optional(),
    'power-cut-may-lose': z.enum(['nothing', '1 s'], { error: lossExpected }).optional(),
    replicas: z.int({ error: replicasExpected }).min(0).max(REPLICAS_MOST, { error: replicasExpected }).optional(),
    line: z
      .string({ error: lineExpected })
      .regex(/^[a-z0-9-]{0,19}[a-z-]$/, { error: lineExpected })
      .optional(),
  },
  {
    error: 'store: redis, user, password-file, authority-file, unencrypted-network, power-cut-may-lose, replicas, line',
  },
)

/** The section `store`. What is kept is sealed, but ids and the password are not: without TLS only to this machine, or where the clinic says so. */
export function storeIn(reader: PartReader, isDemonstration: boolean): StoreRoute | undefined {
  const read = reader.valueAt(['store']) === undefined ? undefined : reader.part(['store'], storeShape)
  if (read === undefined) return undefined
  const urls = (typeof read.redis === 'string' ? [read.redis] : read.redis).map(each => new URL(each))
  const tls = urls.every(({ protocol }) => protocol === 'rediss:')
  const isHere = urls.every(({ hostname }) => isLoopback(hostname))
  const path = ['store', 'redis']
  if (!tls && !isDemonstration && !isHere && read['unencrypted-network'] === undefined)
    reader.report(
      path,
      'STORE_UNENCRYPTED',
      'redis:// to another machine',
      'rediss://, or "unencrypted-network: trusted" under store where nobody else can listen',
    )
  const invented = urls.find(({ hostname }) => isReservedName(hostname))
  if (!isDemonstration && invented !== undefined && !isHere)
    reader.report(path, 'ADDRESS_FICTION', `"${invented.hostname}"`, 'the Redis of the clinic: this name leads nowhere')
  const { user, 'password-file': passwordFile, 'authority-file': authorityFile } = read
  return {
    addresses: urls.map(({ hostname, port }) => ({ host: hostname, port: port === '' ? DEFAULT_PORT : Number(port) })),
    tls,
    ...(user === undefined ? {} : { user }),
    ...(passwordFile === undefined ? {} : { passwordFile }),
    ...(authorityFile === undefined ? {} : { authorityFile }),
    line: read.line ?? 'sh',
    mayLoseASecond: read['power-cut-may-lose'] === '1 s',
    replicas: read.replicas ?? (urls.length > 1 ? 1 : 0),
  }
}
