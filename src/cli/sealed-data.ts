import { existsSync, statSync } from 'node:fs'
import { addClinicKey, ClinicKeysUnusable, readClinicKeys } from '../store/clinic-keys.ts'
import type { ClinicKeys } from '../store/seal.ts'
import { type OnUnreadable, type SealedStore, sealedStore } from '../store/sealed-store.ts'
import { type CaseKeyFile, openCaseKeys } from '../store/sqlite/case-keys.ts'
import { claimServing } from '../store/sqlite/serving-lock.ts'
import { openSqliteStore } from '../store/sqlite/sqlite-store.ts'
import { type Content, StoreUnusable } from '../store/store.ts'
import { instant } from '../time/instant.ts'
import type { DataFolder } from './data-folder.ts'

export interface SealedDataOptions {
  readonly data: DataFolder
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
  const claim = claimServing(options.data.servingFile, process.pid)
  try {
    const sealed = await opened(options)
    const close = async () => {
      try {
        await sealed.store.close()
      } finally {
        claim.release()
      }
    }
    return { ...sealed, store: { ...sealed.store, close } }
  } catch (error) {
    claim.release()
    throw error
  }
}

async function opened(options: SealedDataOptions): Promise<SealedData> {
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
    refuseLostDatabase(data, keys)
    const store = openSqliteStore<Content>({ file: data.databaseFile })
    try {
      if (keys.count() === 0) refuseKeyless(data, (await store.recent(instant(0))).length)
    } catch (error) {
      await store.close()
      throw error
    }
    return { store: sealedStore(store, keys, options.onUnreadable), keys, clinicKeys }
  } catch (error) {
    await keys.close()
    throw error
  }
}

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

function refuseKeyless(data: DataFolder, cases: number): void {
  if (cases === 0) return
  throw new ClinicKeysUnusable(
    `${data.caseKeysFile} holds no key, and ${data.databaseFile} holds ${cases} cases. Put back the saved copy of keys.sqlite. ` +
      'If the database is from before this program sealed what it stores: name a new folder with --data, or remove this one',
  )
}
