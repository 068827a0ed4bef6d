import { execFileSync } from 'node:child_process'
import { createHash } from 'node:crypto'
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { openSealedData } from '../../src/cli/sealed-data.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant } from '../../src/time/instant.ts'
import { eventually, NIGHT, newFolder, root, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

/** What a family or a clinician says, each once, each findable by a word that stands nowhere else. */
const said = {
  nickname: 'Zephyrkin',
  firstWords: 'her tube has just come out, quokkalamp',
  freeText: 'she ate marzipanther an hour ago',
  otherScript: 'Ñandú канарейка 金絲雀',
  markup: '<b>wombatglass</b>"; DROP TABLE case_; --',
  place: 'we live at 9 Thistlewhim Row',
  clinicianWords: 'Wrap it in plumgauze until I am there',
  clinicianReason: 'spoke to father, tapirvane is calm',
  clinicianNote: 'seen in bay 4, lorisquill given',
} as const
/** The word of each that is looked for. */
const wordOf: Record<keyof typeof said, string> = {
  nickname: 'Zephyrkin',
  firstWords: 'quokkalamp',
  freeText: 'marzipanther',
  otherScript: 'канарейка',
  markup: 'wombatglass',
  place: 'Thistlewhim',
  clinicianWords: 'plumgauze',
  clinicianReason: 'tapirvane',
  clinicianNote: 'lorisquill',
}
const RING_BACK = '2025550142'
/** Planted in addresses, headers and posts that lead nowhere: nothing of them may come back or be logged. */
const lost = { path: 'yakfern', query: 'ibisfoam', header: 'emuthread', token: 'lynxmoth'.repeat(4), json: 'gnuplume' }

const clinic = parse(readFileSync(join(root, 'deploy/demo-clinic/clinic.yaml'), 'utf8'))
const privateNumbers: string[] = [...Object.values(clinic.people), ...Object.values(clinic.desks)].flatMap(one => {
  const number = (one as { 'private-number'?: string })['private-number']
  return number === undefined ? [] : [number.replace(/\D/g, '')]
})

/** A text in every form in which it might lie in bytes: as it is, in UTF-16, hexadecimal, percent signs, JSON, base64. */
function guises(text: string): Buffer[] {
  const utf8 = Buffer.from(text, 'utf8')
  const base64 = [0, 1, 2].map(shift => {
    const digits = Buffer.concat([Buffer.alloc(shift), utf8]).toString('base64')
    // The first digits hold bits of what stands before, the last those of what comes after.
    return digits.slice(shift === 0 ? 0 : shift + 1, Math.floor(((shift + utf8.length) * 8) / 6))
  })
  const escaped = JSON.stringify(text).slice(1, -1)
  const ascii = escaped.replace(/[^\x20-\x7e]/g, sign => `\\u${sign.charCodeAt(0).toString(16).padStart(4, '0')}`)
  const texts = [text, utf8.toString('hex'), encodeURIComponent(text), escaped, ascii, ...base64]
  return [Buffer.from(text, 'utf16le'), ...texts.map(one => Buffer.from(one))]
}

/** Names of the planted texts that are found in the bytes. */
function foundIn(bytes: Uint8Array | string, planted: Readonly<Record<string, string>>): string[] {
  const hay = Buffer.from(bytes as string)
  return Object.keys(planted).filter(name => guises(planted[name] ?? '').some(guise => hay.includes(guise)))
}

test('the search finds a planted word in each guise, and no other', () => {
  for (const [index, guise] of guises('канарейка7').entries()) {
    const hay = Buffer.concat([Buffer.from('....'), guise, Buffer.from('....')])
    expect(foundIn(hay, { bird: 'канарейка7' }), String(index)).toEqual(['bird'])
  }
  for (const before of ['', 'a', 'ab', 'abc']) {
    const hay = Buffer.from(`${before}Zephyrkin is here`).toString('base64')
    expect(foundIn(hay, wordOf), before).toEqual(['nickname'])
  }
  expect(foundIn('nothing of the kind', { ...wordOf, number: RING_BACK, ...lost })).toEqual([])
})

describe('canaries planted through the real process', { timeout: 120_000 }, () => {
  const data = newFolder()
  let bot: Served
  let family: Visit
  let clinician: Visit
  /** Everything that must not be found outside the pages meant for it: names and words. */
  const planted: Record<string, string> = { ...wordOf, ringBack: RING_BACK }
  const secrets: Record<string, string> = {}
  const logs: string[] = []
  let board = ''
  let link = ''
  let caseCode = ''

  const digits = (text: string) => text.replace(/\D/g, '')
  const files = () =>
    readdirSync(data.path, { withFileTypes: true, recursive: true })
      .filter(entry => entry.isFile())
      .map(({ name, parentPath }) => ({ name, bytes: readFileSync(join(parentPath, name)) }))
  const post = (path: string, fields: Record<string, string>) =>
    fetch(bot.origin + path, {
      method: 'POST',
      headers: { cookie: family.cookie(), origin: bot.origin, 'content-type': 'application/x-www-form-urlencoded' },
      body: new URLSearchParams(fields).toString(),
      redirect: 'manual',
    })
  /** Writes what no button asks for, as a phone without signal sends it later. */
  const write = async (text: string) => {
    const response = await post('/say', { nonce: `canary-${Math.random().toString(36).slice(2)}`, text })
    expect([200, 204, 303]).toContain(response.status)
    await family.open('/')
  }
  const records = (...words: string[]) =>
    execFileSync(
      join(root, 'node_modules/.bin/node'),
      ['src/cli/main.ts', 'records', ...words, '--data', data.path, '--json'],
      { cwd: root, encoding: 'utf8' },
    )

  beforeAll(async () => {
    bot = await serve({ data: data.path })
    family = visit(bot.origin)
    clinician = visit(bot.origin)
  })
  afterAll(async () => {
    await bot.kill()
    data.remove()
  })

  test('a family and a clinician say them', async () => {
    await family.open('/')
    await post('/say', { nonce: 'canary-newchild-1', control: 'new-child', subject: said.nickname })
    await family.open('/')
    expect(family.page().text).toContain(said.nickname)
    for (const text of [said.firstWords, said.freeText, said.otherScript, said.markup, said.place]) await write(text)
    caseCode = /Your case code: (\w+ \d+)/.exec(family.page().text)?.[1] ?? ''
    expect(caseCode).not.toBe('')
    for (const text of [said.firstWords, said.freeText, said.otherScript, said.markup, said.place])
      expect(family.page().text, text).toContain(text)

    // Through the questions as a family does, to the one for a number; whatever else is asked: not sure.
    for (let turn = 0; turn < 25 && !/What number can a clinician ring you on/.test(family.page().text); turn++) {
      const { buttons } = family.page()
      const tap = ['Nothing. It is empty', 'None of these', 'Long tube, held by a balloon', 'Not sure', 'Yes'].find(
        one => buttons.includes(one),
      )
      if (tap === undefined) break
      await family.press(tap)
    }
    expect(family.page().text).toContain('What number can a clinician ring you on')
    await family.press('Send', { text: '202 555 0142' })

    const page = await eventually('mail and web call on the board', async () => {
      const { markup, text } = await clinician.open('/board')
      return /by e-mail/.test(text) && /by signed web hook/.test(text) && markup
    })
    link = /href="(\/p\/[^"]+)"/.exec(page)?.[1] ?? ''
    await clinician.open(link)
    // Where it must be: whoever rings needs the number, and what was said.
    expect(digits(clinician.page().text)).toContain(RING_BACK)
    for (const name of ['firstWords', 'freeText', 'otherScript', 'place'] as const)
      expect(clinician.page().text, name).toContain(said[name])

    await clinician.press(/^\d{1,2}:\d\d [ap]m$/)
    await clinician.open(link)
    await clinician.press('Send to the family', { text: said.clinicianWords })
    await eventually('the family reads the clinician’s words', async () =>
      (await family.open('/')).text.includes(said.clinicianWords),
    )
    await clinician.open(link)
    await clinician.press('Lower it', { to: 'tell-clinic', reason: said.clinicianReason })
    await clinician.open(link)
    board = (await clinician.open('/board')).text
    secrets.linkToken = link.slice('/p/'.length)
    secrets.cookie = family.cookie().split('=')[1] ?? ''
    secrets.signingKey = readFileSync(join(data.path, 'signing-key'), 'utf8').trim()
    secrets.clinicKey = readFileSync(join(data.path, 'clinic-keys'), 'utf8').trim().split(/\s+/)[1] ?? ''
    for (const [name, secret] of Object.entries(secrets)) expect(secret.length, name).toBeGreaterThan(15)
  })

  test('addresses, headers and posts that lead nowhere come back without them', async () => {
    const header = {
      'user-agent': lost.header,
      referer: `http://localhost/${lost.header}`,
      'x-forwarded-for': lost.header,
    }
    const requests: [string, RequestInit][] = [
      [`/${lost.path}/${lost.path}?q=${lost.query}`, {}],
      [`/?${lost.query}=${lost.query}`, {}],
      [`/p/${lost.token}`, {}],
      [`/p/${link.slice(3, -4)}AAAA`, {}],
      [`/say`, { method: 'POST', body: `{"text":"${lost.json}"`, headers: { 'content-type': 'application/json' } }],
      [`/p/${lost.token}`, { method: 'POST', body: `do=${lost.json}` }],
      [`/say`, { method: 'PUT', body: lost.json }],
      ['/say', { method: 'POST', body: `text=${lost.json.repeat(200_000)}`, headers: { origin: bot.origin } }],
    ]
    let refused = 0
    for (const [path, init] of requests) {
      const response = await fetch(bot.origin + path, { ...init, headers: { ...header, ...init.headers } })
      const everything = `${[...response.headers].join('\n')}\n${await response.text()}`
      expect(foundIn(everything, { ...lost, ...planted }), `${init.method ?? 'GET'} ${path.slice(0, 30)}`).toEqual([])
      if (response.status >= 400) refused += 1
    }
    expect(refused).toBeGreaterThanOrEqual(5)
  })

  test('no file of the data folder holds one, while it runs, after a kill, after a stop', async () => {
    const look = (when: string) => {
      const names = files().map(({ name }) => name)
      expect(names).toEqual(expect.arrayContaining(['smallhours.sqlite', 'keys.sqlite', 'clinic-keys', 'signing-key']))
      for (const { name, bytes } of files()) {
        expect(foundIn(bytes, { ...planted, ...lost }), `${when}: ${name}`).toEqual([])
        const { signingKey = '', clinicKey = '', ...others } = secrets
        const own =
          name === 'signing-key' ? { clinicKey } : name === 'clinic-keys' ? { signingKey } : { signingKey, clinicKey }
        expect(foundIn(bytes, { ...others, ...own }), `${when}: ${name}`).toEqual([])
        for (const key of [signingKey, clinicKey])
          expect(bytes.includes(Buffer.from(key, 'hex')), `${when}: ${name}`).toBe(false)
        // A digest of a number can be guessed by trying all numbers: none may lie there either.
        for (const text of ['202 555 0142', RING_BACK, `+1${RING_BACK}`]) {
          for (const body of [text, JSON.stringify({ kind: 'text', text })]) {
            const digest = createHash('sha256').update(body)
            const raw = digest.digest()
            for (const form of [raw.toString('hex').slice(0, 16), raw.toString('base64url').slice(0, 12)])
              expect(bytes.includes(form), `${when}: ${name} holds a digest of the number`).toBe(false)
          }
        }
      }
      const main = files().find(({ name }) => name === 'smallhours.sqlite')?.bytes ?? Buffer.alloc(0)
      const wal = files().find(({ name }) => name === 'smallhours.sqlite-wal')?.bytes ?? Buffer.alloc(0)
      // Cases are there, under seal.
      expect(Buffer.concat([main, wal]).includes('sealed2:')).toBe(true)
      return wal.length
    }
    expect(look('running')).toBeGreaterThan(0)
    logs.push(bot.output())
    await bot.kill()
    look('killed')
    bot = await serve({ data: data.path, at: NIGHT + 60_000 })
    await bot.stop()
    logs.push(bot.output())
    look('stopped')
  })

  test('with the keys they are all there: the search above looked for what was stored', async () => {
    const { store } = await openSealedData({
      data: openDataFolder(data.path, systemRandom()),
      mode: 'clinic',
      onUnreadable: ({ error }) => {
        throw error
      },
      onFault: error => {
        throw error
      },
    })
    let all = ''
    for (const one of await store.recent(instant(0))) {
      const rows = await store.outboxOf(one.caseId)
      all += JSON.stringify([one, await store.history(one.caseId), rows])
    }
    await store.close()
    const { clinicianNote: _notYet, ...stored } = planted
    expect(foundIn(all, { ...stored, linkToken: secrets.linkToken ?? '' }).toSorted()).toEqual(
      [...Object.keys(stored), 'linkToken'].toSorted(),
    )
  })

  test('pages to clinicians hold none: no nickname, no words, no number', () => {
    expect(board).toContain('by e-mail')
    expect(board).toContain('by signed web hook')
    expect(foundIn(board, planted)).toEqual([])
    expect(digits(board)).not.toContain(RING_BACK)
  })

  test('log, health and the process’s own line hold none', async () => {
    bot = await serve({ data: data.path, at: NIGHT + 120_000 })
    family = visit(bot.origin, family.cookie())
    const health = await fetch(`${bot.origin}/health`)
    const told = `${[...health.headers].join('\n')}\n${await health.text()}`
    const of = (file: string) => readFileSync(`/proc/${bot.pid}/${file}`, 'utf8')
    const process = of('cmdline') + of('environ') + of('comm')
    expect(process).toContain('serve')
    expect(told).toContain('queued')
    const everything = { ...planted, ...lost, ...secrets }
    for (const [name, text] of Object.entries({ told, process, logs: logs.join('\n') })) {
      expect(foundIn(text, everything), name).toEqual([])
      for (const number of [RING_BACK, ...privateNumbers]) expect(digits(text).includes(number), name).toBe(false)
    }
    // What was searched is what the process wrote: the addresses it printed at its start are in it.
    expect(logs.join('\n')).toContain('Families:')
  })

  test('no address anyone was sent to holds one, and no page shows a secret or a private number', () => {
    const addresses = [...family.everything, ...clinician.everything].flatMap(text =>
      [...text.matchAll(/(?:href|action|src)="([^"]*)"|^location: (.*)$/gm)].map(found => found[1] ?? found[2] ?? ''),
    )
    expect(addresses.length).toBeGreaterThan(20)
    const own = /^tel:/
    for (const address of addresses.filter(one => !own.test(one)))
      expect(foundIn(address, planted), address).toEqual([])
    const { signingKey = '', clinicKey = '', linkToken = '' } = secrets
    for (const page of family.everything) {
      expect(foundIn(page, { signingKey, clinicKey, linkToken })).toEqual([])
      for (const number of privateNumbers) expect(digits(page).includes(number)).toBe(false)
    }
    for (const page of clinician.everything) {
      expect(foundIn(page, { signingKey, clinicKey })).toEqual([])
      for (const number of privateNumbers) expect(digits(page).includes(number)).toBe(false)
    }
    expect(privateNumbers.length).toBeGreaterThan(4)
  })

  test('erased by the command while the bot runs, they are gone for everyone', async () => {
    clinician = visit(bot.origin)
    await clinician.open(link)
    await clinician.press('Set the outcome', { outcome: 'seen-at-hospital', note: said.clinicianNote })
    for (const { name, bytes } of files()) expect(foundIn(bytes, planted), name).toEqual([])
    expect((await family.open('/')).text).toContain(said.freeText)

    // It closes by itself later; the outcome alone says that nobody is waiting.
    const { erased } = JSON.parse(records('erase', caseCode)) as { erased: string[] }
    expect(erased).toHaveLength(1)
    expect(foundIn((await family.open('/')).markup, planted)).toEqual([])
    const gone = await clinician.open(link)
    expect(gone.status).toBe(404)
    expect(foundIn(gone.markup, planted)).toEqual([])
    expect(JSON.parse(records('keys'))).toMatchObject({ erased: 1 })
    expect(foundIn(bot.output(), { ...planted, ...secrets })).toEqual([])
    // The bot still serves: the same family begins anew.
    await write('her tube has just come out')
    expect(family.page().text).toContain('her tube has just come out')
  })
})
