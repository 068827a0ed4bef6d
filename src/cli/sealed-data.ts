import { existsSync } from 'node:fs'
import { addClinicKey, ClinicKeysUnusable, readClinicKeys } from '../store/clinic-keys.ts'
import type { ClinicKeys } from '../store/seal.ts'
import { type OnUnreadable, type SealedStore, sealedStore } from '../store/sealed-store.ts'
import { type CaseKeyFile, openCaseKeys } from '../store/sqlite/case-keys.ts'
import { openSqliteStore } from '../store/sqlite/sqlite-store.ts'
import type { Content } from '../store/store.ts'
import { instant } from '../time/instant.ts'
import type { DataFolder } from './data-folder.ts'

export interface SealedDataOptions {
  readonly data: DataFolder
  /**
   * `clinic`: the clinic's keys must be there, and be readable by their owner only. `demonstration`: a new folder gets a
   * key, and a file that others may read is made its owner's alone.
   */
  readonly mode: 'clinic' | 'demonstration'
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

function refuseKeyless(data: DataFolder, cases: number): void {
  if (cases === 0) return
  throw new ClinicKeysUnusable(
    `${data.caseKeysFile} holds no key, and ${data.databaseFile} holds ${cases} cases. Put back the saved copy of keys.sqlite. ` +
      'If the database is from before this program sealed what it stores: name a new folder with --data, or remove this one',
  )
}
