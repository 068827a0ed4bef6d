import { cpSync, existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { clinicHash } from '../config/clinic-edits.ts'
import { DEMO_CLINIC } from './load-line.ts'

/**
 * The invented clinic, copied into the data folder: what somebody tries on its pages changes their copy and not the release.
 * A copy that nobody changed is made anew, so that it is always that of this release.
 *
 * @returns the folder of the copy
 */
export function demoFolder(dataDir: string): string {
  const folder = join(dataDir, 'demo-clinic')
  const mark = join(folder, 'copied')
  const file = join(folder, 'clinic.yaml')
  const isOurs =
    existsSync(mark) && existsSync(file) && clinicHash(readFileSync(file, 'utf8')) === readFileSync(mark, 'utf8')
  if (existsSync(folder) && !isOurs) return folder
  mkdirSync(dataDir, { recursive: true, mode: 0o700 })
  cpSync(DEMO_CLINIC, folder, { recursive: true })
  writeFileSync(mark, clinicHash(readFileSync(file, 'utf8')))
  return folder
}
