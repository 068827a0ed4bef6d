import { createSecretKey } from 'node:crypto'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { addClinicKey, readClinicKeys } from '../../src/store/clinic-keys.ts'
import { sealBytes } from '../../src/store/seal.ts'
import { sealedStore } from '../../src/store/sealed-store.ts'
import { openCaseKeys } from '../../src/store/sqlite/case-keys.ts'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import type { Content } from '../../src/store/store.ts'
import { at, night } from './step-record.ts'

let folder = ''
const file = (name: string) => join(folder, name)
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'migration-'))
})
afterEach(() => rmSync(folder, { recursive: true }))

/** A file as schema 1 left it: made by its own migration, filled by hand with two cases of three steps. */
function schema1(sealed: (caseId: string, field: string, place: string | number, text: string) => string): void {
  const db = new DatabaseSync(file('cases.sqlite'))
  db.exec('PRAGMA journal_mode = WAL')
  db.exec(readFileSync(new URL('../../src/store/sqlite/migrations/0001-cases.sql', import.meta.url), 'utf8'))
  db.exec(`PRAGMA user_version = 1; PRAGMA application_id = ${0x736d6c68}`)
  const addCase = db.prepare(
    'INSERT INTO case_ (case_id, channel, chat, seq, closed, changed_at, state) VALUES (?, ?, ?, ?, ?, ?, ?)',
  )
  const addEvent = db.prepare('INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?)')
  const addRow = db.prepare(
    `INSERT INTO outbox (effect_id, case_id, seq, lane, queue, effect, not_before, tries, content, rendered_at, status,
       settled_at, outcome_unknown, leased_until) VALUES (?, ?, ?, 'family', ?, ?, ?, ?, ?, ?, ?, ?, 0, ?)`,
  )
  for (const seq of [1, 2, 3]) {
    for (const id of ['moon', 'sun']) {
      if (id === 'moon' && seq === 3) continue
      const seal = (field: string, place: string | number, text: string) => sealed(id, field, place, text)
      const from = seq === 2 ? [null, null] : ['web', `m${id}${seq}`]
      addEvent.run(id, seq, at(seq), seal('event', seq, `"${id} e${seq}"`), seal('effects', seq, `["${seq}"]`), ...from)
      // Two rows of the second step, none of the third; the first was sent.
      for (const place of seq === 1 ? [0] : seq === 2 ? [0, 1] : []) {
        const effectId = `${id}.${seq}.${place}`
        const sent = seq === 1
        const content = sent ? seal('content', effectId, `"said ${effectId}"`) : null
        const effect = seal('effect', effectId, `"do ${effectId}"`)
        addRow.run(
          ...[effectId, id, seq, `q ${id}`, effect, night, sent ? 1 : 0, content, sent ? at(4) : null],
          ...[sent ? 'sent' : 'waiting', sent ? at(5) : null, null],
        )
      }
    }
  }
  addCase.run('moon', 'web', 'f', 2, 1, at(2), sealed('moon', 'state', 2, '"moon 2"'))
  addCase.run('gone', 'web', 'f', 1, 1, at(1), '{"erased":true}')
  addCase.run('sun', 'web', 'f', 3, 0, at(3), sealed('sun', 'state', 3, '"sun 3"'))
  db.prepare('INSERT INTO alarm VALUES (?, ?, ?)').run('sun', 'check', at(60))
  db.close()
}

describe('a database of schema 1', () => {
  test('is taken over when it is opened: cases, events, what was sent and what waits, deliveries, alarms', async () => {
    schema1((_case, _field, _place, text) => text)
    const store = openSqliteStore({ file: file('cases.sqlite') })
    expect(await store.load('sun')).toEqual({
      ...{ caseId: 'sun', chat: { channel: 'web', chat: 'f' }, seq: 3, closed: false },
      ...{ changedAt: at(3), state: '"sun 3"' },
    })
    expect((await store.casesOf({ channel: 'web', chat: 'f' })).map(one => one.caseId)).toEqual(['sun', 'moon', 'gone'])
    expect(await store.history('sun')).toEqual(
      [1, 2, 3].map(seq => ({ caseId: 'sun', seq, at: at(seq), event: `"sun e${seq}"`, effects: `["${seq}"]` })),
    )
    expect((await store.outboxOf('sun')).map(one => [one.effectId, one.seq, one.status, one.content])).toEqual([
      ['sun.1.0', 1, 'sent', '"said sun.1.0"'],
      ['sun.2.0', 2, 'waiting', undefined],
      ['sun.2.1', 2, 'waiting', undefined],
    ])
    expect(await store.due(at(60), 9)).toEqual([{ caseId: 'sun', name: 'check', due: at(60) }])
    const step = {
      caseId: 'sun',
      chat: { channel: 'web', chat: 'f' },
      at: at(9),
      closed: false,
      state: '1',
      event: '2',
    }
    const rest = { effects: '[]', outbox: [], alarms: { set: [], cancel: [] } }
    const delivery = { channel: 'web', deliveryId: 'mmoon1' }
    expect(await store.commit({ ...step, ...rest, from: 3, delivery })).toBe('duplicate')
    expect(await store.commit({ ...step, ...rest, from: 2 })).toBe('conflict')
    expect(await store.commit({ ...step, ...rest, from: 3 })).toBe('committed')
    expect((await store.claim('family', at(9), 1_000, 9)).map(one => one.effectId)).toEqual(['moon.2.0', 'sun.2.0'])
    await store.close()
    const db = new DatabaseSync(file('cases.sqlite'))
    expect(db.prepare('PRAGMA user_version').get()).toMatchObject({ user_version: 2 })
    expect(db.prepare('PRAGMA integrity_check').get()).toMatchObject({ integrity_check: 'ok' })
    expect(
      db.prepare(`SELECT name FROM sqlite_schema WHERE type = 'table' AND name LIKE '%\\_1' ESCAPE '\\'`).all(),
    ).toEqual([])
    db.close()
  })

  test('that is sealed needs no key to be taken over, and opens afterwards with the one it had', async () => {
    addClinicKey(file('clinic-keys'))
    const openKeys = () =>
      openCaseKeys({ file: file('keys.sqlite'), clinicKeys: () => readClinicKeys(file('clinic-keys'), 'refused') })
    const keys = openKeys()
    const made = new Map([
      ['sun', await keys.make('sun')],
      ['moon', await keys.make('moon')],
    ])
    await keys.erase('gone', at(1))
    schema1((caseId, field, place, text) => {
      const key = made.get(caseId)
      if (key === undefined || key === 'erased') throw new Error('no key')
      // As the program of schema 1 wrote it.
      return `sealed1:${sealBytes(createSecretKey(key.export()), [caseId, field, place], Buffer.from(text)).toString('base64')}`
    })
    await keys.close()
    await openSqliteStore({ file: file('cases.sqlite') }).close()

    const store = sealedStore(openSqliteStore<Content>({ file: file('cases.sqlite') }), openKeys(), ({ error }) => {
      throw error
    })
    expect((await store.load('sun'))?.state).toBe('"sun 3"')
    expect(await store.load('gone')).toBeUndefined()
    expect((await store.history('moon')).map(one => [one.event, one.effects])).toEqual([
      ['"moon e1"', '["1"]'],
      ['"moon e2"', '["2"]'],
    ])
    expect((await store.outboxOf('sun')).map(one => [one.effect, one.content])).toEqual([
      ['"do sun.1.0"', '"said sun.1.0"'],
      ['"do sun.2.0"', undefined],
      ['"do sun.2.1"', undefined],
    ])
    expect(await store.purge(at(99), at(100))).toEqual(['moon'])
    await store.close()
  })

  test('whose migration fails half-way stays as it was, and says which migration it was', () => {
    schema1((_case, _field, _place, text) => text)
    const db = new DatabaseSync(file('cases.sqlite'))
    // A table of the new name is in the way of its last statements.
    db.exec('CREATE TABLE delivery (mine)')
    db.close()
    expect(() => openSqliteStore({ file: file('cases.sqlite') })).toThrow(
      /migration 0002-narrow-rows.sql failed: .*delivery/,
    )
    const after = new DatabaseSync(file('cases.sqlite'))
    expect(after.prepare('PRAGMA user_version').get()).toMatchObject({ user_version: 1 })
    expect(after.prepare('SELECT count(*) AS n FROM event').get()).toMatchObject({ n: 5 })
    after.close()
  })
})
