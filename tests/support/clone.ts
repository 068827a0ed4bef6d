import { spawn } from 'node:child_process'
import { chmodSync, copyFileSync, mkdirSync, mkdtempSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

/** The folder of this repository. */
export const ROOT = fileURLToPath(new URL('../..', import.meta.url))

/** Arguments with which the Node at hand takes itself for Node 20. */
export const AS_NODE_20 = [
  '--import',
  'data:text/javascript,Object.defineProperty(process,"versions",{value:{...process.versions,node:"20.0.0"}})',
]

/** How a child ended, and what it printed. */
export interface Ended {
  readonly code: number | null
  readonly out: string
  readonly err: string
}

/**
 * Makes a folder laid out as a clone, with `copied` files of this repository and `written` ones of the test's own.
 * The caller removes it.
 */
export function cloneWith(copied: readonly string[], written: Readonly<Record<string, string>>): string {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-clone-'))
  const placed = (path: string) => {
    mkdirSync(dirname(join(folder, path)), { recursive: true })
    return join(folder, path)
  }
  writeFileSync(join(folder, 'package.json'), '{ "type": "module" }')
  for (const path of copied) copyFileSync(join(ROOT, path), placed(path))
  for (const [path, text] of Object.entries(written)) {
    writeFileSync(placed(path), text)
    chmodSync(join(folder, path), 0o755)
  }
  return folder
}

/** Puts the Node at hand where `npm ci` puts the clone's own. */
export function withOwnNode(folder: string, path = 'node_modules/.bin/node'): string {
  mkdirSync(dirname(join(folder, path)), { recursive: true })
  symlinkSync(process.execPath, join(folder, path))
  return folder
}

/** Runs Node with `args`, calling `onOut` with all that was printed so far at each piece; settles when it has ended. */
export function run(
  args: readonly string[],
  env: Readonly<Record<string, string>> = {},
  onOut: (out: string, kill: (signal: NodeJS.Signals) => void) => void = () => {},
): Promise<Ended> {
  const child = spawn(process.execPath, args, { stdio: ['pipe', 'pipe', 'pipe'], env: { ...process.env, ...env } })
  let out = ''
  let err = ''
  child.stdin.end('from standard input\n')
  child.stderr.on('data', (piece: Buffer) => {
    err += piece
  })
  child.stdout.on('data', (piece: Buffer) => {
    out += piece
    onOut(out, signal => child.kill(signal))
  })
  return new Promise((resolve, reject) => {
    child.on('error', reject)
    child.on('close', code => resolve({ code, out, err }))
  })
}
