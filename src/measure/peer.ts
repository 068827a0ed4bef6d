import { existsSync, readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { dirname, join } from 'node:path'

/** A library that ours is measured beside. It is no part of the bot and comes with what developers install. */
export interface Peer<T> {
  readonly module: T
  /** Name and version, as a figure names what it was measured beside. */
  readonly name: string
}

const require = createRequire(import.meta.url)

/**
 * Loads it.
 *
 * @throws Error that says what to do, when it is not installed
 */
export function peer<T>(name: string): Peer<T> {
  let path: string
  try {
    path = require.resolve(name)
  } catch {
    throw new Error(
      `measure: ${name} is not installed, and nothing can be measured beside it. Run "npm ci" without leaving out development packages`,
    )
  }
  return { module: require(name) as T, name: `${name} ${versionAbove(path)}` }
}

/** The version in the nearest package.json that has one. */
function versionAbove(path: string): string {
  for (let folder = dirname(path); folder !== dirname(folder); folder = dirname(folder)) {
    const file = join(folder, 'package.json')
    if (!existsSync(file)) continue
    const { version } = JSON.parse(readFileSync(file, 'utf8')) as { version?: string }
    if (version !== undefined) return version
  }
  return 'of unknown version'
}
