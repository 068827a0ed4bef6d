import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { codeIn, hashOfCode, newCodeFor } from '../../src/cli/telegram-code.ts'
import { openTelegramFile, type TelegramFile } from '../../src/store/sqlite/telegram-file.ts'
import { hours } from '../../src/time/instant.ts'
import { aTeam, bytes, fromOwnPage, type Team } from '../support/a-clinic-team.ts'
import { ORIGIN } from '../support/web-visitor.ts'

let folder: string
let file: TelegramFile
let team: Team
/** Paged by Telegram: these and nobody else. */
const PAGED = ['linh', 'otto']

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-links-'))
  file = openTelegramFile(join(folder, 'telegram.sqlite'))
  team = aTeam({
    telegram: {
      isPaged: id => PAGED.includes(id),
      linked: id => file.chatsOf(id).length,
      newCode: id => newCodeFor(file, id, team.now(), bytes(16)),
      unlink: id => file.unlink(id),
    },
  })
})
afterEach(async () => {
  await team.close()
  file.close()
  rmSync(folder, { recursive: true })
})

async function ask(path: string, who: string): Promise<{ status: number; text: string; location: string | null }> {
  const token = await team.tokenOf(who)
  const method = path === '/people' ? 'GET' : 'POST'
  const response = await team.pages.fetch(new Request(ORIGIN + path, { method, headers: fromOwnPage(token) }))
  return { status: response.status, text: await response.text(), location: response.headers.get('location') }
}
const codeOn = (page: string): string => codeIn(/k_[\w-]{22}/.exec(page)?.[0] ?? '') ?? ''
const deeds = async () =>
  (await team.accounts.store.audit())
    .filter(({ did }) => did.startsWith('telegram'))
    .map(({ who, did, on }) => [who, did, on])

it('a code is shown once, links one account, and stands in the trail with who made it, not itself', async () => {
  const page = (await ask('/people/linh/telegram', 'malia')).text
  const code = codeOn(page)
  expect(page).toContain('Telegram of Linh Example')
  expect(page).toContain(`/start ${code}</textarea>`)
  expect((await ask('/people', 'malia')).text).not.toContain('k_')
  expect(file.redeem(hashOfCode(code), '70001', team.now())).toBe('linh')
  expect(file.redeem(hashOfCode(code), '70002', team.now())).toBeUndefined()
  expect((await ask('/people', 'malia')).text).toContain('Pages go to 1 Telegram account.')
  expect(await deeds()).toEqual([['malia', 'telegram-code-made', 'linh']])
  expect(JSON.stringify(await team.accounts.store.audit())).not.toContain(code)
})

it('once the bot’s name is known the page has the link that opens it; the page is kept by no browser', async () => {
  file.know('username', 'harbour_night_bot')
  const token = await team.tokenOf('malia')
  const request = new Request(`${ORIGIN}/people/linh/telegram`, { method: 'POST', headers: fromOwnPage(token) })
  const response = await team.pages.fetch(request)
  expect(response.headers.get('cache-control')).toContain('no-store')
  expect(await response.text()).toMatch(/>https:\/\/t\.me\/harbour_night_bot\?start=k_[\w-]{22}<\/textarea>/)
})

it('a new code ends the one before, and none outlives a day', async () => {
  const first = codeOn((await ask('/people/linh/telegram', 'malia')).text)
  const second = codeOn((await ask('/people/linh/telegram', 'malia')).text)
  expect(file.redeem(hashOfCode(first), '70001', team.now())).toBeUndefined()
  team.pass(hours(24))
  expect(file.redeem(hashOfCode(second), '70001', team.now())).toBeUndefined()
})

it('a lost telephone: its account and every code are taken away at once', async () => {
  file.redeem(hashOfCode(codeOn((await ask('/people/linh/telegram', 'malia')).text)), '70001', team.now())
  const waiting = codeOn((await ask('/people/linh/telegram', 'malia')).text)
  expect((await ask('/people/linh/telegram-unlink', 'malia')).location).toBe('/people?did=unlinked')
  expect(file.personOf('70001')).toBeUndefined()
  expect(file.redeem(hashOfCode(waiting), '70001', team.now())).toBeUndefined()
  expect((await deeds()).at(-1)).toEqual(['malia', 'telegram-unlinked', 'linh'])
})

it('nobody gets a code who is not paged by Telegram, has left, or is not there; who may not invite sees no button', async () => {
  for (const id of ['ravi', 'otto'])
    expect((await ask(`/people/${id}/telegram`, 'malia')).location, id).toBe('/people?did=kept')
  expect((await ask('/people/nobody-here/telegram', 'malia')).status).toBe(404)
  expect(await deeds()).toEqual([])
  const seen = (await ask('/people', 'amara')).text
  expect(seen).toContain('no account is linked yet')
  expect(seen).not.toContain('/telegram')
  expect((await ask('/people/linh/telegram', 'amara')).status).toBe(403)
})
