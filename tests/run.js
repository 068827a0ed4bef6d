// `npm test`: format and lint, types, then the tests. Runs on the Node at hand and passes itself on to Node 24.
// Words after `npm test --` go to vitest: `npm test -- tests/oncall`.
import { spawn, spawnSync } from 'node:child_process'
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

const root = dirname(dirname(fileURLToPath(import.meta.url)))
const bin = name => join(root, 'node_modules', name)

if (Number.parseInt(process.versions.node, 10) >= 24) process.exit(await main(process.argv.slice(2)))
process.exit(withCloneNode())

/** Runs this file with the Node of the clone; 2 where there is none. */
function withCloneNode() {
  const node = ['.bin/node', 'node/bin/node'].map(bin).find(existsSync)
  if (node === undefined) {
    console.error(`The tests need Node 24 or newer and this is ${process.version}: run "npm ci" in ${root} first.`)
    console.log('0 passed, 1 failed')
    return 2
  }
  const run = spawnSync(node, process.argv.slice(1), { stdio: 'inherit' })
  return run.status ?? 1
}

/** Runs every step, says what was left out, ends with the closing line; the exit code. */
async function main(words) {
  const { missingLines } = await import('./support/missing.ts')
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-test-'))
  const closingLine = join(folder, 'closing-line')
  const started = Date.now()
  const biome = [
    'check',
    '--config-path=.biome.json',
    '--diagnostic-level=warn',
    '--error-on-warnings',
    'src',
    'tests',
    '.ci',
  ]
  const vitest = ['run', '--config', 'tests/vitest.config.ts', ...words]
  const isOk = [
    await step('format and lint', bin('@biomejs/biome/bin/biome'), biome, 60),
    await step('types', bin('typescript/bin/tsc'), ['--noEmit'], 120),
  ]
  const specOk = await step('tests', bin('vitest/vitest.mjs'), vitest, 1800, { CLOSING_LINE_FILE: closingLine })
  const spec = countsIn(existsSync(closingLine) ? readFileSync(closingLine, 'utf8') : '')
  rmSync(folder, { recursive: true })

  const leftOut = missingLines()
  for (const line of leftOut) console.log(line)
  const isStrict = process.env.CI === 'true' && words.length === 0
  if (isStrict && leftOut.length > 0) console.log('With CI=true nothing may be left out: each line above is a failure.')
  const failed =
    isOk.filter(ok => !ok).length +
    Math.max(spec.failed, specOk && spec.passed > 0 ? 0 : 1) +
    (isStrict ? leftOut.length : 0)
  if (spec.passed === 0) console.log('No test ran to its end: that is a failure too.')
  console.log(`All steps: ${seconds(started)}.`)
  console.log(`${spec.passed} passed, ${failed} failed${spec.skipped > 0 ? `, ${spec.skipped} skipped` : ''}`)
  return failed === 0 ? 0 : 1
}

/** Runs one script under this Node, its output shown as it comes; true when it exited 0 within `limit` seconds. */
function step(name, script, args, limit, env = {}) {
  console.log(`\n== ${name}`)
  const started = Date.now()
  return new Promise(resolve => {
    const child = spawn(process.execPath, [script, ...args], {
      cwd: root,
      stdio: ['ignore', 'inherit', 'inherit'],
      env: { ...process.env, ...env },
    })
    const late = setTimeout(() => {
      console.log(`${name}: still running after ${limit} s; stopped.`)
      child.kill('SIGKILL')
    }, limit * 1000)
    child.on('error', error => {
      console.log(`${name}: could not start: ${error.message}`)
      resolve(false)
    })
    child.on('close', (code, signal) => {
      clearTimeout(late)
      console.log(`== ${name}: ${code === 0 ? 'ok' : `failed (${signal ?? `exit ${code}`})`}, ${seconds(started)}`)
      resolve(code === 0)
    })
  })
}

function seconds(started) {
  return `${((Date.now() - started) / 1000).toFixed(1)} s`
}

/** The counts in the line that the reporter wrote; nothing counts where it wrote none. */
function countsIn(text) {
  const found = /^(\d+) passed, (\d+) failed, (\d+) skipped$/m.exec(text)
  return { passed: Number(found?.[1] ?? 0), failed: Number(found?.[2] ?? 1), skipped: Number(found?.[3] ?? 0) }
}
