import { existsSync, readdirSync, readFileSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { FlowFiles } from '../flow/load.ts'
import { CalledWrongly } from './command.ts'

/** The flows that ship with the bot. */
export const SHIPPED_FLOWS = fileURLToPath(new URL('../../flows', import.meta.url))

/** Every YAML file of a flows folder, `CalledWrongly` where there is none; a clinic's own folders stand in place of the shipped ones of the same name. */
export function readFlowFiles(shipped: string = SHIPPED_FLOWS, clinicFlows?: string): FlowFiles {
  if (!existsSync(shipped) || !statSync(shipped).isDirectory())
    throw new CalledWrongly(`${shipped}: a folder of flows was expected`)
  const files = new Map<string, string>()
  for (const folder of foldersOf(shipped)) addFolder(files, shipped, folder)
  if (clinicFlows !== undefined && existsSync(clinicFlows)) {
    for (const folder of foldersOf(clinicFlows)) {
      for (const path of [...files.keys()]) if (path.startsWith(`${folder}/`)) files.delete(path)
      addFolder(files, clinicFlows, folder)
    }
  }
  return files
}

function foldersOf(root: string): string[] {
  return readdirSync(root, { withFileTypes: true }).flatMap(entry => (entry.isDirectory() ? [entry.name] : []))
}

function addFolder(files: Map<string, string>, root: string, folder: string): void {
  for (const name of readdirSync(join(root, folder))) {
    if (name.endsWith('.yaml')) files.set(`${folder}/${name}`, readFileSync(join(root, folder, name), 'utf8'))
  }
}
