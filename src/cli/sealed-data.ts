import { createSecretKey, hkdfSync, randomBytes } from 'node:crypto'
import { existsSync, statSync } from 'node:fs'
import { forgetStoredJson } from '../case/stored-json.ts'
import type { StoreRoute } from '../config/store-section.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { addClinicKey, ClinicKeysUnusable, readClinicKeys } from '../store/clinic-keys.ts'
import { type PhotoFolder, photoFolder } from '../store/photo-folder.ts'
import { RedisSilent } from '../store/redis/redis-errors.ts'
import { type ClinicKeys, KEY_BYTES } from '../store/seal.ts'
import { type OnUnreadable, type SealedStore, sealedStore } from '../store/sealed-store.ts'
import { type CaseKeyFile, openCaseKeys } from '../store/sqlite/case-keys.ts'
import { claimServing } from '../store/sqlite/serving-lock.ts'
import { openSqliteStore } from '../store/sqlite/sqlite-store.ts'
import { type Content, type SealableStore, StoreUnusable } from '../store/store.ts'
import { instant } from '../time/instant.ts'
import type { DataFolder } from './data-folder.ts'
import { lineMembers } from './line-members.ts'

export interface SealedDataOptions {
  readonly data: DataFolder
  /** The Redis that keeps the cases; left out: a file of the folder does. Keys stay in the folder either way. */
  readonly store?: StoreRoute | undefined
  /**
   * `clinic`: the clinic's keys must be there, and be readable by their owner only. `demonstration`: a new folder gets a
   * key, and a file that others may read is made its owner's alone.
   */
  readonly mode: 'clinic' | 'demonstration'
  /** The line itself, of which there may be one: a second on the folder is refused. Default: a command beside it. */
  readonly isServing?: boolean
  readonly onUnreadable: OnUnreadable
  /** Told when the clinic's keys could be read before and now cannot; the ones in memory go on being used. */
  readonly onFault: (error: unknown) => void
}

/** The store of a data folder, sealed, and the keys it is sealed with. Closing the store closes the keys. */
export interface SealedData {
  readonly store: SealedStore
  readonly keys: CaseKeyFile
  readonly photos: PhotoFolder
  /** The clinic's keys as they are now. */
  readonly clinicKeys: () => ClinicKeys
}

/**
 * Opens a data folder. What cannot be read with the keys that are there is refused now, not found out in the night.
 *
 * A database from before sealing is refused as well: nothing but demonstrations was ever served from one.
 *
 * @throws ClinicKeysUnusable, StoreUnusable; the message says what to do
 */
export async function openSealedData(options: SealedDataOptions): Promise<SealedData> {
  if (options.isServing !== true) return opened(options)
  const claim = options.store === undefined ? claimServing(options.data.servingFile, process.pid) : sharedClaim(options)
  const member = randomBytes(8).toString('hex')
  const members = lineMembers(options.data.lineMembersFolder, () => systemClock().now())
  const leave = () => {
    if (options.store !== undefined) members.remove(member)
    claim.release()
  }
  try {
    // Before it can be seen in Redis: whoever looks there finds its name here.
    if (options.store !== undefined) members.add(member)
    const sealed = await patiently(options, { member, elsewhere: living => members.elsewhere(living) })
    const close = async () => {
      try {
        await sealed.store.close()
      } finally {
        leave()
      }
    }
    return { ...sealed, store: { ...sealed.store, close } }
  } catch (error) {
    leave()
    throw error
  }
}

/** How long a line that starts waits for its Redis: one that reads a large file after a power cut answers nothing meanwhile. */
const WAITS_MS = 60_000

/** Opens it, and again while Redis does not answer: a start that ended would only be begun anew from the beginning. */
async function patiently(options: SealedDataOptions, joining: Joining): Promise<SealedData> {
  const until = performance.now() + WAITS_MS
  for (;;) {
    try {
      return await opened(options, joining)
    } catch (error) {
      if (!(error instanceof RedisSilent) || performance.now() > until) throw error
      options.onFault(error)
    }
  }
}

/** This process among those of the line, and which of the others work from another folder. */
interface Joining {
  readonly member: string
  elsewhere(living: readonly string[]): readonly string[]
}

async function opened(options: SealedDataOptions, joining?: Joining): Promise<SealedData> {
  const { data, mode } = options
  const isNew = !existsSync(data.clinicKeysFile) && !existsSync(data.caseKeysFile)
  if (isNew && mode === 'demonstration') addClinicKey(data.clinicKeysFile)
  const clinicKeys = keptKeys(
    () => readClinicKeys(data.clinicKeysFile, mode === 'clinic' ? 'refused' : 'mended'),
    options.onFault,
  )
  const keys = openCaseKeys({ file: data.caseKeysFile, clinicKeys })
  try {
    refuseMissing(data, keys, clinicKeys())
    const store = await keptIn(options, keys, joining)
    try {
      if (keys.count() === 0) refuseKeyless(options, (await store.recentHeads(instant(0))).length)
    } catch (error) {
      await store.close()
      throw error
    }
    const photos = photoFolder(data.photosFolder, keys)
    const beside = { forget: photos.forget, forgetTexts: forgetStoredJson }
    return { store: sealedStore(store, keys, options.onUnreadable, inboxKey(data), beside), keys, photos, clinicKeys }
  } catch (error) {
    await keys.close()
    throw error
  }
}

/** The store itself: a file of the folder, or the clinic's Redis. */
async function keptIn(
  options: SealedDataOptions,
  keys: CaseKeyFile,
  joining: Joining | undefined,
): Promise<SealableStore<Content>> {
  const { data, store: route, mode } = options
  if (route === undefined) {
    refuseLostDatabase(data, keys)
    return openSqliteStore<Content>({ file: data.databaseFile })
  }
  // A line on a file does not read the client of a server it does not have.
  const { keysApart, openRedisOf } = await import('./redis-at-hand.ts')
  const asLine = joining === undefined ? {} : { member: joining.member, migrates: true }
  const store = await openRedisOf(route, mode === 'demonstration', options.onFault, asLine)
  try {
    const apart = joining?.elsewhere(await store.living()) ?? []
    if (apart.length > 0) throw new StoreUnusable(`Redis: ${keysApart(apart.length)}. See docs/operating/redis.md`)
    if (mode === 'clinic' && keys.count() > 0 && (await store.isEmpty())) throw lostRedis(data, route, keys.count())
    return store
  } catch (error) {
    await store.close()
    throw error
  }
}

/**
 * Several processes share a Redis and a folder. The first holds the folder, so that no line on a file begins beside them;
 * that another of them holds it is as well.
 */
function sharedClaim({ data }: SealedDataOptions): { release(): void } {
  try {
    return claimServing(data.servingFile, process.pid)
  } catch (error) {
    if (error instanceof StoreUnusable) return { release: () => undefined }
    throw error
  }
}

/** Seals what processes of one folder hand each other; made of the folder's own secret, and for nothing else. */
const inboxKey = (data: DataFolder) =>
  createSecretKey(Buffer.from(hkdfSync('sha256', data.key, '', 'smallhours inbox', KEY_BYTES)))

/** The keys as they are now; as they were, while the file cannot be read: a family tonight comes before a file. */
function keptKeys(read: () => ClinicKeys, onFault: (error: unknown) => void): () => ClinicKeys {
  let last = read()
  return () => {
    try {
      last = read()
    } catch (error) {
      onFault(error)
    }
    return last
  }
}

function refuseMissing(data: DataFolder, keys: CaseKeyFile, { of }: ClinicKeys): void {
  for (const [id, count] of keys.inUse()) {
    if (of(id) !== undefined) continue
    throw new ClinicKeysUnusable(
      `${data.clinicKeysFile}: the key ${id} is missing, and ${count} cases are locked with it. Put its line back from the saved copy`,
    )
  }
}

/** A database made anew beside keys of cases: the families of that night would meet a line that knows nothing of them. */
function refuseLostDatabase({ databaseFile, caseKeysFile }: DataFolder, keys: CaseKeyFile): void {
  const holds = (file: string) => existsSync(file) && statSync(file).size > 0
  const isThere = holds(databaseFile) || holds(`${databaseFile}-wal`)
  if (isThere || keys.count() === 0) return
  throw new StoreUnusable(
    `store file ${databaseFile} is missing or empty, and ${caseKeysFile} holds keys of ${keys.count()} cases. Restore the newest ` +
      'backup of both and ring every family that wrote since. If there is none: name a new folder with --data',
  )
}

/** A Redis made anew beside keys of cases. */
function lostRedis({ caseKeysFile }: DataFolder, { addresses, line }: StoreRoute, count: number): StoreUnusable {
  const where = addresses.map(({ host, port }) => `${host}:${port}`).join(', ')
  return new StoreUnusable(
    `Redis ${where} keeps no case of the line "${line}", and ${caseKeysFile} holds keys of ${count} cases. Restore the newest ` +
      'backup of both, or move the cases with "smallhours records move"; ring every family that wrote since the backup. ' +
      'If there is none: name a new folder with --data',
  )
}

function refuseKeyless({ data, store }: SealedDataOptions, cases: number): void {
  if (cases === 0) return
  throw new ClinicKeysUnusable(
    `${data.caseKeysFile} holds no key, and ${store === undefined ? data.databaseFile : 'Redis'} holds ${cases} cases. Put back the saved copy of keys.sqlite. ` +
      'If the database is from before this program sealed what it stores: name a new folder with --data, or remove this one',
  )
}
