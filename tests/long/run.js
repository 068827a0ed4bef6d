// `npm run long`: the suites that take minutes to hours. Runs on the Node at hand and passes itself on to Node 24.
//   npm run long                                   every suite, one after the other
//   npm run long -- --only families --minutes 5 --families 10 --seed 7
import { spawn } from 'node:child_process'
import { existsSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

const root = dirname(dirname(dirname(fileURLToPath(import.meta.url))))

if (Number.parseInt(process.versions.node, 10) >= 24) {
  const { main } = await import('./suites.ts')
  process.exitCode = await main(process.argv.slice(2))
} else {
  const node = ['.bin/node', 'node/bin/node'].map(name => join(root, 'node_modules', name)).find(existsSync)
  if (node === undefined) {
    console.error(
      `The long suites need Node 24 or newer and this is ${process.version}: run "npm ci" in ${root} first.`,
    )
    process.exitCode = 2
  } else {
    const child = spawn(node, process.argv.slice(1), { stdio: 'inherit' })
    for (const signal of ['SIGINT', 'SIGTERM']) process.on(signal, () => child.kill(signal))
    child.on('exit', code => {
      process.exitCode = code ?? 1
    })
  }
}
