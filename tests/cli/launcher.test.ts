import { rmSync, statSync } from 'node:fs'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { AS_NODE_20, cloneWith, ROOT, run, withOwnNode } from '../support/clone.ts'

const LAUNCHER = 'src/cli/smallhours.js'
const folders: string[] = []

afterEach(() => {
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true })
})

/** A clone whose command is `main`. */
function clone(main: string): string {
  const folder = cloneWith([LAUNCHER], { 'src/cli/main.ts': main })
  folders.push(folder)
  return folder
}

const TELLS = `
const words: string[] = process.argv.slice(2)
for await (const piece of process.stdin) console.log(String(piece).trim())
console.log(JSON.stringify({ words, node: process.versions.node.split('.')[0], parent: process.ppid }))
process.exitCode = 7
`

const WAITS = `
process.on('SIGTERM', () => { console.log('stopping in order'); process.exit(3) })
process.on('SIGINT', () => { console.log('interrupted'); process.exit(4) })
setInterval(() => {}, 1000)
console.log('up')
`

describe('the command on Node 24 or newer', () => {
  it('runs in the same process, with the words given', async () => {
    const ended = await run([join(clone(TELLS), LAUNCHER), 'talk', '--json', 'two words'])
    expect(ended).toMatchObject({ code: 7, err: '' })
    expect(ended.out).toContain('from standard input')
    expect(ended.out).toContain('["talk","--json","two words"]')
    expect(ended.out).toContain(`"parent":${process.pid}`)
  })
})

describe('the command on an older Node', () => {
  for (const place of ['node_modules/.bin/node', 'node_modules/node/bin/node']) {
    it(`runs with the clone's ${place}: same words, standard streams and exit code`, async () => {
      const folder = withOwnNode(clone(TELLS), place)
      const ended = await run([...AS_NODE_20, join(folder, LAUNCHER), 'check', '--json', '', 'a "b"'])
      expect(ended).toMatchObject({ code: 7, err: '' })
      expect(ended.out).toContain('from standard input')
      expect(ended.out).toContain(JSON.stringify(['check', '--json', '', 'a "b"']))
      expect(ended.out).toContain(`"node":"${process.versions.node.split('.')[0]}"`)
      expect(ended.out).not.toContain(`"parent":${process.pid}`)
    })
  }

  for (const [signal, words, code] of [
    ['SIGTERM', 'stopping in order', 3],
    ['SIGINT', 'interrupted', 4],
  ] as const) {
    it(`passes ${signal} on and ends as the command ends`, async () => {
      const folder = withOwnNode(clone(WAITS))
      let isSent = false
      const ended = await run([...AS_NODE_20, join(folder, LAUNCHER)], {}, (out, kill) => {
        if (isSent || !out.includes('up')) return
        isSent = true
        kill(signal)
      })
      expect(ended.out).toContain(words)
      expect(ended.code).toBe(code)
    })
  }

  it('ends with 128 and the number of the signal that killed the command', async () => {
    const folder = withOwnNode(clone(`process.kill(process.pid, 'SIGKILL')`))
    expect((await run([...AS_NODE_20, join(folder, LAUNCHER)])).code).toBe(137)
  })

  it('says in one line what to do where the clone has no Node of its own, and ends with 2', async () => {
    const folder = clone(TELLS)
    const ended = await run([...AS_NODE_20, join(folder, LAUNCHER), 'serve'])
    expect(ended).toMatchObject({ code: 2, out: '' })
    expect(ended.err.trim().split('\n')).toHaveLength(1)
    expect(ended.err).toContain(`run "npm ci" in ${folder}`)
  })

  it("says the same where the clone's Node cannot be started", async () => {
    const folder = cloneWith([LAUNCHER], { 'src/cli/main.ts': TELLS, 'node_modules/.bin/node': '#!/not/there' })
    folders.push(folder)
    const ended = await run([...AS_NODE_20, join(folder, LAUNCHER)])
    expect(ended.code).toBe(2)
    expect(ended.err).toContain('run "npm ci" in')
  })
})

it('the launcher may be run as a program, as npx does', () => {
  expect(statSync(join(ROOT, LAUNCHER)).mode & 0o111).toBe(0o111)
})
