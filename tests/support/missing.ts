import { accessSync, constants, existsSync } from 'node:fs'
import { delimiter, join } from 'node:path'

/** A program that some tests drive and that `npm ci` does not bring. */
export interface Program {
  readonly name: string
  /** What is not tested without it. */
  readonly tests: string
  /** The command that brings it on Debian and its relatives. */
  readonly get: string
  /** Where it was found, or undefined. */
  readonly path: string | undefined
}

/** First runnable file called `name` on the PATH, or undefined. */
function onPath(name: string): string | undefined {
  return (process.env.PATH ?? '')
    .split(delimiter)
    .filter(folder => folder !== '')
    .map(folder => join(folder, name))
    .find(isRunnable)
}

function isRunnable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK)
    return existsSync(path)
  } catch {
    return false
  }
}

/** Debian's own places. The browser without windows of its own stands first: those cost as much as the pages do. */
const BROWSERS = ['/usr/lib/chromium/chromium-headless-shell', '/usr/bin/chromium']

/** The browser: CHROMIUM where set, else Debian's own place, else the PATH. */
function chromium(): string | undefined {
  const named = process.env.CHROMIUM
  if (named !== undefined) return isRunnable(named) ? named : undefined
  return BROWSERS.find(isRunnable) ?? onPath('chromium')
}

/** Paths of the programs; undefined where there is none: `describe.skipIf(chromiumPath === undefined)`. */
export const chromiumPath = chromium()
export const redisPath = onPath('redis-server')
export const spinPath = onPath('cc') === undefined ? undefined : onPath('spin')

export const PROGRAMS: readonly Program[] = [
  {
    name: 'a browser',
    tests: 'the web pages as a family and a clinician see them',
    get: 'apt-get install chromium-headless-shell fonts-dejavu-core (or chromium), or set CHROMIUM to the path of one',
    path: chromiumPath,
  },
  {
    name: 'redis-server',
    tests: 'the Redis store',
    get: 'apt-get install redis-server',
    path: redisPath,
  },
  {
    name: 'spin with a C compiler',
    tests: 'the second opinion on what the flow checker proves',
    get: 'apt-get install spin gcc libc6-dev',
    path: spinPath,
  },
]

/** One line for each program that is not here: which tests were left out and how to get it. */
export function missingLines(programs: readonly Program[] = PROGRAMS): string[] {
  return programs
    .filter(program => program.path === undefined)
    .map(program => `left out: ${program.tests} (no ${program.name}; ${program.get})`)
}
