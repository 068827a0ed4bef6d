import { spawn, spawnSync } from 'node:child_process'
import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, realpathSync, symlinkSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { serveCommand } from '../../src/cli/serve.ts'
import { openRedisStore } from '../../src/store/redis/redis-store.ts'
import { filesBelow } from '../house/source-scan.ts'
import { ROOT } from '../support/clone.ts'
import { redisServer } from '../support/redis-server.ts'
import { newFolder, serve } from './process.ts'

const read = (...path: readonly string[]) => readFileSync(join(ROOT, ...path), 'utf8')
const compose = parse(read('deploy', 'container', 'compose.yaml'), { merge: true }) as {
  readonly services: Readonly<
    Record<
      string,
      { readonly command?: readonly string[]; readonly ports?: readonly string[]; readonly restart?: string }
    >
  >
}
const unitFile = join(ROOT, 'deploy', 'systemd', 'smallhours@.service')
const unit = readFileSync(unitFile, 'utf8')
const container = read('deploy', 'container', 'Containerfile')

/** Options that a call of `serve` names. */
const optionsIn = (text: string): readonly string[] =>
  [...text.matchAll(/"?(--[a-z-]+)/g)].map(([, option]) => option ?? '')

describe('what ships for running the line', () => {
  it('sets Redis so that a clinic’s line takes it, with exactly the words of the compose file', async () => {
    const command = compose.services.redis?.command ?? []
    const settings = command.slice(1, command.indexOf('--include'))
    const server = await redisServer(settings)
    const store = await openRedisStore({ addresses: [{ host: '127.0.0.1', port: server.port }], durability: 'always' })
    await store.close()
    await server.discard()
  })

  it('starts again whatever ended, reaches nothing but this machine, and names only options that serve has', () => {
    for (const [name, { restart, ports = [] }] of Object.entries(compose.services)) {
      expect([name, restart]).toEqual([name, 'always'])
      for (const port of ports) expect(port).toMatch(/^127\.0\.0\.1:/)
    }
    expect(unit).toMatch(/^Restart=always$/m)
    expect(unit).toMatch(/^StartLimitIntervalSec=0$/m)
    const exec = /^ExecStart=(.*)$/m.exec(unit)?.[1] ?? ''
    const cmd = /^CMD (.*)$/m.exec(container)?.[1] ?? ''
    for (const option of [...optionsIn(exec), ...optionsIn(cmd)]) expect(serveCommand.usage).toContain(option)
    for (const [, path] of exec.matchAll(/ (src\/\S+\.ts)/g)) expect(existsSync(join(ROOT, path ?? ''))).toBe(true)
  })

  it('builds from the Node that the package names, and copies what the line needs', () => {
    const { devDependencies } = JSON.parse(read('package.json')) as { devDependencies: Record<string, string> }
    expect(container).toMatch(new RegExp(`^FROM node:${devDependencies.node}-`, 'm'))
    for (const [, from] of container.matchAll(/^COPY (?!package)(\S+) /gm))
      expect(readdirSync(join(ROOT, from ?? '')).length).toBeGreaterThan(0)
  })

  it('serves from the files and packages that the image holds, and its health check finds it well', {
    timeout: 60_000,
  }, async () => {
    const image = newFolder()
    const within = (path: string) => join(image.path, path)
    for (const [, from = '', to = ''] of container.matchAll(/^COPY (?!package)(\S+) (\S+)$/gm))
      cpSync(join(ROOT, from), within(to), { recursive: true })
    cpSync(join(ROOT, 'package.json'), within('package.json'))
    // As after "npm ci --omit=dev": what the program itself names must be among these.
    const lock = JSON.parse(read('package-lock.json')) as { packages: Readonly<Record<string, { dev?: boolean }>> }
    for (const [path, { dev }] of Object.entries(lock.packages)) {
      if (dev === true || !/^node_modules\/(@[^/]+\/)?[^/]+$/.test(path) || !existsSync(join(ROOT, path))) continue
      mkdirSync(dirname(within(path)), { recursive: true })
      symlinkSync(realpathSync(join(ROOT, path)), within(path))
    }
    expect(existsSync(within('node_modules/vitest'))).toBe(false)

    const bot = await serve({ data: within('data'), from: image.path })
    const check = JSON.parse(/^HEALTHCHECK .*\\\n +CMD (.*)$/m.exec(container)?.[1] ?? '[]') as string[]
    const ask = (port: string) =>
      new Promise(resolve => {
        const args = check.slice(1).map(word => word.replace(':8080/', `:${port}/`))
        spawn(process.execPath, args, { stdio: 'ignore' }).once('exit', resolve)
      })
    expect(await ask(new URL(bot.origin).port)).toBe(0)
    await bot.stop()
    expect(await ask(new URL(bot.origin).port)).toBe(1)
    image.remove()
  })

  it('has a unit that systemd reads without a complaint, where systemd is', () => {
    if (!existsSync('/usr/bin/systemd-analyze')) return
    const read = spawnSync('systemd-analyze', ['verify', '--man=no', unitFile], { encoding: 'utf8' })
    const complaints = read.stderr
      .split('\n')
      .filter(line => line.includes('smallhours') && !line.includes('not executable'))
    expect(complaints).toEqual([])
  })

  it('names every environment variable that the program reads, and no other', () => {
    const used = filesBelow(ROOT, 'src')
      .filter(({ path }) => /\.(ts|js)$/.test(path) && !path.startsWith('src/measure/'))
      .flatMap(({ text }) =>
        [...text.matchAll(/process\.env\.([A-Z_]+)|\b(NODE_COMPILE_CACHE)\b/g)].map(([, a, b]) => a ?? b),
      )
    const rows = [...read('docs', 'operating', 'environment.md').matchAll(/^\| `([A-Z_]+)` \|/gm)].map(
      ([, name]) => name,
    )
    expect(rows.toSorted()).toEqual([...new Set(used)].toSorted())
  })
})
