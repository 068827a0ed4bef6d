#!/usr/bin/env node
// Starts the command with Node 24 or newer: this one, or else the one that `npm ci` put into this clone.
import { spawn } from 'node:child_process'
import { existsSync } from 'node:fs'
import module from 'node:module'
import { constants, homedir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { setFlagsFromString } from 'node:v8'

const here = path => fileURLToPath(new URL(path, import.meta.url))
const node = ['../../node_modules/.bin/node', '../../node_modules/node/bin/node'].map(here).find(existsSync)
const refusal = `smallhours needs Node 24 or newer and this is ${process.version}: run "npm ci" in ${here('../..')}`
const refuse = () => process.exit(console.error(refusal) ?? 2)
// Compiled code is kept for the next start, where only this user writes: never in a folder that others may fill.
const compiled = join(process.env.XDG_CACHE_HOME || join(homedir(), '.cache'), 'smallhours', 'compiled')
if (Number.parseInt(process.versions.node, 10) >= 24) {
  // New objects keep to the first megabyte or so: some 40 MB less of memory, for some hundredths of a second at the start.
  setFlagsFromString('--semi-space-growth-factor=1')
  module.enableCompileCache(compiled)
  await import('./main.ts')
} else if (node === undefined) refuse()
else {
  const env = { NODE_COMPILE_CACHE: compiled, ...process.env }
  const args = [here('./main.ts'), ...process.argv.slice(2)]
  const child = spawn(node, args, { env, stdio: 'inherit' }).on('error', refuse)
  const typed = signal => signal === 'SIGINT' && process.stdin.isTTY // Ctrl-C: the terminal tells the child itself
  for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP']) process.on(signal, () => typed(signal) || child.kill(signal))
  child.on('exit', (code, signal) => process.exit(code ?? 128 + constants.signals[signal]))
}
