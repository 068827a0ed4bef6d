import { appendFileSync, cpSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, it } from 'vitest'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { type RedisServer, redisServer } from '../support/redis-server.ts'
import { eventually, newFolder, root, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

let server: RedisServer
const place = newFolder()
beforeAll(async () => {
  server = await redisServer()
})
afterAll(async () => {
  await server.discard()
  place.remove()
})

/** The demonstration's clinic on the test's own Redis. */
function clinicIn(name: string, line: string): string {
  const clinic = join(place.path, name)
  cpSync(DEMO_CLINIC, clinic, { recursive: true })
  appendFileSync(join(clinic, 'clinic.yaml'), `\nstore:\n  redis: redis://127.0.0.1:${server.port}\n  line: ${line}\n`)
  return clinic
}

const sharesOf = async ({ origin }: Served): Promise<number> => {
  const health = (await (await fetch(`${origin}/health`)).json()) as { readonly sharing: { readonly owned: number } }
  return health.sharing.owned
}

it('a family goes from one real process to the other and stays in one talk; when one is killed the other goes on', async () => {
  const clinic = clinicIn('clinic', 'sh')
  const data = join(place.path, 'data')
  const one = await serve({ data, clinic })
  const two = await serve({ data, clinic })
  try {
    await eventually('each has its half', async () => (await sharesOf(one)) === 8 && (await sharesOf(two)) === 8)
    // Six families, so that some belong to each of the two, whichever door they come to.
    const cookies: string[] = []
    for (let n = 0; n < 6; n += 1) {
      const family = visit(one.origin)
      await family.open('/')
      const first = await family.press('Send', { text: 'her tube has just come out' })
      expect(first.status).toBe(200)
      const other = visit(two.origin, family.cookie())
      await eventually('the other door shows the first reply', async () =>
        (await other.open('/')).buttons.includes('Nothing. It is empty'),
      )
      await other.press('Nothing. It is empty')
      cookies.push(family.cookie())
    }
    await two.kill()
    await eventually('it has all of them', async () => (await sharesOf(one)) === 16, 15_000)
    for (const cookie of cookies) {
      const family = visit(one.origin, cookie)
      const page = await family.open('/')
      expect(page.text.split('her tube has just come out')).toHaveLength(2)
      expect(page.text).toContain('Nothing. It is empty')
      const answered = await family.press('Send', { text: 'I want to talk to a person please' })
      expect(answered.status).toBe(200)
      expect(answered.text).toContain('I want to talk to a person please')
    }
  } finally {
    await two.kill()
    await one.stop()
  }
}, 60_000)

it('is renewed one process after the other: a case that is open keeps its flow, a new one gets the new one', async () => {
  const OLD_WORDS = 'Which of these is or was your child'
  const NEW_WORDS = 'Which tube is or was it?'
  const before = clinicIn('before', 'renewed')
  const after = clinicIn('after', 'renewed')
  cpSync(join(root, 'flows/shared'), join(after, 'flows/shared'), { recursive: true })
  const file = join(after, 'flows/shared/wording.en.yaml')
  const words = readFileSync(file, 'utf8')
  writeFileSync(file, words.replace(/^ask\/device: .*$/m, `ask/device: ${NEW_WORDS}`))
  const data = join(place.path, 'renewed')
  const older = await serve({ data, clinic: before })
  const family = visit(older.origin)
  await family.open('/')
  await family.press('Send', { text: 'her tube has just come out' })
  const newer = await serve({ data, clinic: after })
  try {
    await eventually('each has its half', async () => (await sharesOf(older)) === 8 && (await sharesOf(newer)) === 8)
    await older.stop()
    await eventually('the newer has all', async () => (await sharesOf(newer)) === 16, 15_000)
    const toTheTube = async (one: Visit): Promise<string> => {
      await eventually('the first question', async () => (await one.open('/')).buttons.includes('Nothing. It is empty'))
      await one.press('Nothing. It is empty')
      await eventually('the signs', async () => (await one.open('/')).buttons.includes('None of these'))
      await one.press('None of these')
      return eventually('which tube', async () => {
        const { buttons, text } = await one.open('/')
        return buttons.includes('Long tube, held by a balloon') ? text : undefined
      })
    }
    expect(await toTheTube(visit(newer.origin, family.cookie()))).toContain(OLD_WORDS)
    const other = visit(newer.origin)
    await other.open('/')
    await other.press('Send', { text: 'her tube has just come out' })
    expect(await toTheTube(other)).toContain(NEW_WORDS)
  } finally {
    await older.kill()
    await newer.stop()
  }
}, 60_000)
