import { cpSync, symlinkSync } from 'node:fs'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import type { Ground } from '../../src/measure/ground.ts'
import { root } from './server-process.ts'

/** What a command reads of the program's own folder. */
const PARTS = ['src', 'flows', 'deploy', 'package.json', 'tsconfig.json']

/**
 * A copy of the program as it stands now, gone with its ground: a run of hours decides with what it began with, whatever is
 * changed under it meanwhile. Packages are linked.
 */
export interface FixedTree {
  readonly launcher: string
  /** A module of the copy, by its path under `src`. */
  module<T>(path: string): Promise<T>
}

export function fixedTree(ground: Ground): FixedTree {
  const folder = ground.folder()
  for (const part of PARTS) cpSync(join(root, part), join(folder, part), { recursive: true })
  symlinkSync(join(root, 'node_modules'), join(folder, 'node_modules'))
  return {
    launcher: join(folder, 'src/cli/smallhours.js'),
    module: async path => (await import(pathToFileURL(join(folder, 'src', path)).href)) as never,
  }
}
