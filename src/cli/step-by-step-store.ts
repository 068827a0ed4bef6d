import { addClinicKey, readClinicKeys } from '../store/clinic-keys.ts'
import { sealedStore } from '../store/sealed-store.ts'
import { openCaseKeys } from '../store/sqlite/case-keys.ts'
import { openSqliteStore } from '../store/sqlite/sqlite-store.ts'
import type { Content, Store } from '../store/store.ts'
import type { DataFolder } from './data-folder.ts'

/**
 * What the store would be without grouping: the same rows, seals and settings, one transaction a step, begun and ended
 * while the caller waits. Only for measuring what grouping wins and costs; nothing serves from it.
 */
export function openStepByStep(data: DataFolder): Pick<Store, 'commit' | 'close'> {
  addClinicKey(data.clinicKeysFile)
  const keys = openCaseKeys({
    file: data.caseKeysFile,
    clinicKeys: () => readClinicKeys(data.clinicKeysFile, 'mended'),
  })
  const store = openSqliteStore<Content>({ file: data.databaseFile, grouping: 'none' })
  return sealedStore(store, keys, ({ error }) => {
    throw error
  })
}
