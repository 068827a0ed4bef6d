import { createDecipheriv, createSecretKey } from 'node:crypto'
import { chmodSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, test } from 'vitest'
import { addClinicKey, readClinicKeys, removeClinicKeys } from '../../src/store/clinic-keys.ts'
import { newKey, openBytes, openText, type SealBroken, sealBytes, sealText } from '../../src/store/seal.ts'
import { type SealedStore, sealedStore } from '../../src/store/sealed-store.ts'
import { type CaseKeyFile, openCaseKeys } from '../../src/store/sqlite/case-keys.ts'
import { openSqliteStore } from '../../src/store/sqlite/sqlite-store.ts'
import type { Content, SealableStore } from '../../src/store/store.ts'
import { memoryStore } from '../support/memory-store.ts'
import { storeContract } from './contract/store-contract.ts'
import { storeAgreesWithModel } from './contract/store-model.ts'
import { alarms, at, night, row, step } from './step-record.ts'

let folder = ''
let unreadable: { caseId: string; error: SealBroken }[] = []
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'sealed-'))
  unreadable = []
})
afterEach(() => rmSync(folder, { recursive: true, force: true }))

const file = (name: string, inside = folder) => join(inside, name)
const clinicKeys = (inside = folder) => readClinicKeys(file('clinic-keys', inside), 'refused')

function openKeys(inside = folder): CaseKeyFile {
  if (!existsSync(file('clinic-keys', inside))) addClinicKey(file('clinic-keys', inside))
  return openCaseKeys({ file: file('keys.sqlite', inside), clinicKeys: () => clinicKeys(inside) })
}

function openSealed(inside = folder): SealedStore {
  const store = openSqliteStore<Content>({ file: file('cases.sqlite', inside) })
  return sealedStore(store, openKeys(inside), found => unreadable.push(found))
}

const overSqlite = async () => {
  const own = mkdtempSync(join(tmpdir(), 'sealed-'))
  let store = openSealed(own)
  return {
    store,
    reopen: async () => {
      await store.close()
      store = openSealed(own)
      return store
    },
    discard: async () => {
      await store.close()
      rmSync(own, { recursive: true })
    },
  }
}

/** The memory store keeps whatever it is given; only its type speaks of text. */
const asBytes = (store: SealableStore<string>) => store as unknown as SealableStore<Content>

const overMemory = async () => {
  const own = mkdtempSync(join(tmpdir(), 'sealed-'))
  let inner = memoryStore()
  let store = sealedStore(asBytes(inner), openKeys(own), () => undefined)
  return {
    store,
    reopen: async () => {
      await store.close()
      inner = inner.crash()
      store = sealedStore(asBytes(inner), openKeys(own), () => undefined)
      return store
    },
    discard: async () => {
      await store.close()
      rmSync(own, { recursive: true })
    },
  }
}

storeContract('the sealed store over SQLite', overSqlite)
storeContract('the sealed store over memory', overMemory)
storeAgreesWithModel('the sealed store over SQLite', overSqlite, 25)

/** Every byte of every file of the folder. */
const allBytes = () => Buffer.concat(readdirSync(folder).map(name => readFileSync(file(name))))
const query = (name: string, sql: string) => {
  const db = new DatabaseSync(file(name))
  try {
    return db.prepare(sql).all()
  } finally {
    db.close()
  }
}

describe('a seal', () => {
  // "The Galois/Counter Mode of Operation (GCM)", McGrew and Viega 2005, test case 16: AES-256, 96-bit nonce, additional
  // data. Values from memory; the tag would not verify were one digit wrong.
  test('is laid out as nonce, sealed bytes, tag: the published vector opens in the same layout', () => {
    const hex = (digits: string) => Buffer.from(digits, 'hex')
    const key = hex('feffe9928665731c6d6a8f9467308308feffe9928665731c6d6a8f9467308308')
    const nonce = hex('cafebabefacedbaddecaf888')
    const data = hex('feedfacedeadbeeffeedfacedeadbeefabaddad2')
    const cipher = hex(
      '522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662',
    )
    const tag = hex('76fc6ece0f4e1768cddf8853bb2d551b')
    const plain =
      'd9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a721c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39'
    const decipher = createDecipheriv('aes-256-gcm', key, nonce)
    decipher.setAAD(data)
    decipher.setAuthTag(tag)
    expect(Buffer.concat([decipher.update(cipher), decipher.final()]).toString('hex')).toBe(plain)
    // The same primitive reads what we wrote, so the layout is what the comment in seal.ts says.
    const ours = sealBytes(key, ['a', 1], hex(plain))
    const reader = createDecipheriv('aes-256-gcm', key, ours.subarray(0, 12))
    reader.setAAD(Buffer.from('["a",1]'))
    reader.setAuthTag(ours.subarray(-16))
    expect(Buffer.concat([reader.update(ours.subarray(12, -16)), reader.final()]).toString('hex')).toBe(plain)
  })

  test('opens to exactly what was sealed, whatever the text', () => {
    const key = createSecretKey(newKey())
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme', maxLength: 300 }), fc.string(), fc.nat(), (text, caseId, seq) => {
        expect(openText(key, [caseId, 'state', seq], sealText(key, [caseId, 'state', seq], text))).toBe(text)
      }),
    )
  })

  test('never has the same nonce twice', () => {
    const key = newKey()
    const nonces = Array.from({ length: 5_000 }, () =>
      sealBytes(key, ['c'], Buffer.from('same')).subarray(0, 12).toString('hex'),
    )
    expect(new Set(nonces).size).toBe(5_000)
  })

  test('breaks at any changed bit, any cut, any other place and any other key', () => {
    const key = newKey()
    const sealed = sealBytes(key, ['sun', 'state', 3], Buffer.from('the tube is out'))
    for (let bit = 0; bit < sealed.length * 8; bit += 1) {
      const changed = Buffer.from(sealed)
      changed[bit >> 3] = (changed[bit >> 3] ?? 0) ^ (1 << (bit & 7))
      expect(() => openBytes(key, ['sun', 'state', 3], changed)).toThrow(/seal: changed/)
    }
    for (let length = 0; length < sealed.length; length += 1) {
      expect(() => openBytes(key, ['sun', 'state', 3], sealed.subarray(0, length))).toThrow(/seal:/)
    }
    for (const elsewhere of [['moon', 'state', 3], ['sun', 'event', 3], ['sun', 'state', 4], ['sun', 'state'], []]) {
      expect(() => openBytes(key, elsewhere, sealed)).toThrow(/seal: changed/)
    }
    expect(() => openBytes(newKey(), ['sun', 'state', 3], sealed)).toThrow(/seal: changed/)
    for (const never of ['the tube is out', Buffer.from('the tube is out')]) {
      expect(() => openText(createSecretKey(key), ['sun'], never)).toThrow(/not sealed/)
    }
  })
})

describe('the sealed store', () => {
  const words = 'Pipsqueak is crying'
  const told = step('sun', 0, {
    state: `{"a":"${words}"}`,
    event: `{"said":"${words}"}`,
    effects: `["${words}"]`,
    outbox: [row('sun.1.0', 'q', { effect: `{"text":"${words}"}` })],
    alarms: alarms({ check: at(5) }),
  })

  test('leaves none of the content in any file, the log files included', async () => {
    const store = openSealed()
    await store.commit(told)
    await store.claim('family', night, 60_000, 9)
    await store.rendered('sun.1.0', `Cover it. ${words}`, at(1))
    expect(allBytes().includes('sun.1.0')).toBe(true)
    expect(allBytes().includes('Pipsqueak')).toBe(false)
    await store.close()
    expect(allBytes().includes('sun.1.0')).toBe(true)
    expect(allBytes().includes('Pipsqueak')).toBe(false)
    // The same words unsealed are found, so the search can find them.
    const plain = openSqliteStore({ file: file('plain.sqlite') })
    await plain.commit(told)
    expect(allBytes().includes('Pipsqueak')).toBe(true)
    await plain.close()
  })

  test('keeps of a delivery id only its digest, and still knows the delivery', async () => {
    const store = openSealed()
    const delivery = { channel: 'web', deliveryId: 'chat.text.nonce.hintofnumber' }
    await store.commit(step('sun', 0, { delivery }))
    expect(allBytes().includes('hintofnumber')).toBe(false)
    expect(await store.commit(step('sun', 1, { delivery }))).toBe('duplicate')
    expect(await store.commit(step('sun', 1, { delivery: { ...delivery, channel: 'other' } }))).toBe('committed')
    await store.close()
  })

  test('holds no key of a case in the clear, and no clinic’s key outside its own file', async () => {
    const keys = openKeys()
    const made = await keys.make('sun')
    const dataKey = made === 'erased' ? Buffer.alloc(0) : made.export()
    const clinicKey = clinicKeys().newest.key
    await keys.close()
    expect(dataKey).toHaveLength(32)
    for (const key of [dataKey, clinicKey]) {
      expect(readFileSync(file('keys.sqlite')).includes(Buffer.from(key))).toBe(false)
      expect(readFileSync(file('keys.sqlite')).includes(Buffer.from(key).toString('hex'))).toBe(false)
    }
  })

  test('has a key of its own for each case', async () => {
    const keys = openKeys()
    const made = await Promise.all(Array.from({ length: 50 }, (_, n) => keys.make(`c${n}`)))
    expect(new Set(made.map(key => (key === 'erased' ? key : key.export().toString('hex')))).size).toBe(50)
    await keys.close()
  })

  test('a row put in the place of another does not open: the state is an empty text, and it is told', async () => {
    let store = openSealed()
    await store.commit(told)
    await store.commit(step('sun', 1))
    await store.commit(step('moon', 0))
    await store.close()
    const db = new DatabaseSync(file('cases.sqlite'))
    db.exec(`UPDATE case_ SET state = (SELECT state FROM case_ WHERE case_id = 'moon') WHERE case_id = 'sun'`)
    const opened = `opened = (SELECT opened FROM case_ WHERE case_id = 'sun')`
    db.exec(
      `UPDATE event SET event = (SELECT event FROM event WHERE ${opened} AND seq = 1) WHERE ${opened} AND seq = 2`,
    )
    db.close()
    store = openSealed()
    expect((await store.load('sun'))?.state).toBe('')
    expect((await store.history('sun')).map(({ seq }) => seq)).toEqual([1])
    expect(unreadable.map(({ caseId, error }) => [caseId, error.name])).toEqual([
      ['sun', 'SealBroken'],
      ['sun', 'SealBroken'],
    ])
    expect((await store.load('moon'))?.state).toBe(step('moon', 0).state)
    await store.close()
  })

  test('a state changed by hand, or moved to another event number, does not open while its text is still remembered', async () => {
    const store = openSealed()
    await store.commit(told)
    expect((await store.load('sun'))?.state).toBe(told.state)
    const db = new DatabaseSync(file('cases.sqlite'))
    db.exec(`UPDATE case_ SET seq = 2 WHERE case_id = 'sun'`)
    expect((await store.load('sun'))?.state).toBe('')
    db.exec(`UPDATE case_ SET seq = 1 WHERE case_id = 'sun'`)
    expect((await store.load('sun'))?.state).toBe(told.state)
    db.exec(`UPDATE case_ SET state = CAST(state || x'00' AS BLOB) WHERE case_id = 'sun'`)
    db.close()
    expect((await store.casesOf(told.chat))[0]?.state).toBe('')
    expect(unreadable.map(({ caseId }) => caseId)).toEqual(['sun', 'sun'])
    await store.close()
  })

  test('a row put into the step of another case says nothing of either, and it is told', async () => {
    let store = openSealed()
    await store.commit(told)
    await store.commit(step('moon', 0, { outbox: [row('moon.1.0', 'r')] }))
    await store.close()
    const db = new DatabaseSync(file('cases.sqlite'))
    db.exec(`UPDATE outbox SET opened = (SELECT opened FROM case_ WHERE case_id = 'moon') WHERE effect_id = 'sun.1.0'`)
    db.close()
    store = openSealed()
    const claimed = await store.claim('family', night, 60_000, 9)
    expect(claimed.map(one => [one.effectId, one.caseId, one.effect])).toEqual([
      ['sun.1.0', 'moon', ''],
      ['moon.1.0', 'moon', row('moon.1.0', 'r').effect],
    ])
    expect(unreadable.map(({ caseId, error }) => [caseId, error.name])).toEqual([['moon', 'SealBroken']])
    await store.close()
  })

  test('a rendered text that does not open is rendered again, an effect that does not is an empty text', async () => {
    let store = openSealed()
    await store.commit(told)
    await store.claim('family', night, 1_000, 9)
    await store.rendered('sun.1.0', 'Cover it', at(0))
    await store.close()
    const db = new DatabaseSync(file('cases.sqlite'))
    db.exec(`UPDATE outbox SET content = effect`)
    db.close()
    store = openSealed()
    const [claimed] = await store.claim('family', at(1), 1_000, 9)
    expect(claimed).toMatchObject({ effect: `{"text":"${words}"}`, outcomeUnknown: true })
    expect(claimed?.content).toBeUndefined()
    expect(claimed?.renderedAt).toBeUndefined()
    await store.close()
    const again = new DatabaseSync(file('cases.sqlite'))
    again.exec(`UPDATE outbox SET effect = content || 'x'`)
    again.close()
    store = openSealed()
    expect((await store.outboxOf('sun'))[0]?.effect).toBe('')
    await store.close()
  })

  test('a case whose key is lost is there, unreadable, and can go on', async () => {
    let store = openSealed()
    await store.commit(told)
    await store.close()
    rmSync(file('keys.sqlite'))
    store = openSealed()
    expect(await store.load('sun')).toMatchObject({ seq: 1, state: '' })
    expect(await store.history('sun')).toEqual([])
    expect(await store.commit(step('sun', 1, { state: '{"parked":{}}' }))).toBe('committed')
    expect((await store.load('sun'))?.state).toBe('{"parked":{}}')
    await store.close()
  })

  test('a clinic’s key that cannot be read does not make a case unreadable: the call fails, and works again after', async () => {
    let store = openSealed()
    await store.commit(told)
    await store.close()
    let isThere = true
    const keys = openCaseKeys({
      file: file('keys.sqlite'),
      clinicKeys: () => {
        if (!isThere) throw new Error('no file can be opened now')
        return clinicKeys()
      },
    })
    isThere = false
    store = sealedStore(openSqliteStore<Content>({ file: file('cases.sqlite') }), keys, found => unreadable.push(found))
    await expect(store.load('sun')).rejects.toThrow(/no file/)
    isThere = true
    expect((await store.load('sun'))?.state).toBe(told.state)
    expect(unreadable).toEqual([])
    await store.close()
  })

  test('the keys of ten thousand other cases do not push a case out of reach', async () => {
    const keys = openKeys()
    const first = await keys.make('sun')
    await Promise.all(Array.from({ length: 10_050 }, (_, n) => keys.make(`c${n}`)))
    expect(keys.find('sun')).toEqual(first)
    await keys.close()
  })
})

describe('erasing a case', () => {
  const opened = async () => {
    const store = openSealed()
    await store.commit(
      step('sun', 0, { outbox: [row('sun.1.0', 'q')], alarms: alarms({ check: at(5), leave: at(9) }), closed: false }),
    )
    await store.commit(step('moon', 0, { alarms: alarms({ check: at(7) }) }))
    return store
  }

  test('takes case, history, outbox and alarms away, and nothing of another case', async () => {
    const store = await opened()
    await store.erase('sun', at(3))
    expect(await store.load('sun')).toBeUndefined()
    expect(await store.history('sun')).toEqual([])
    expect(await store.outboxOf('sun')).toEqual([])
    expect(await store.casesOf({ channel: 'web', chat: 'chat of sun' })).toEqual([])
    expect((await store.recent(at(0))).map(({ caseId }) => caseId)).toEqual(['moon'])
    expect(await store.due(at(99), 9)).toEqual([{ caseId: 'moon', name: 'check', due: at(7) }])
    expect((await store.load('moon'))?.state).toBe(step('moon', 0).state)
    expect(unreadable).toEqual([])
    await store.close()
  })

  test('leaves its wrapped key in no file; what is left opens with no key of the clinic', async () => {
    const store = await opened()
    const [{ wrapped } = { wrapped: null }] = query('keys.sqlite', `SELECT wrapped FROM case_key WHERE case_id = 'sun'`)
    const bytes = Buffer.from(wrapped as Uint8Array)
    expect(allBytes().includes(bytes)).toBe(true)
    await store.erase('sun', at(3))
    expect(allBytes().includes(bytes)).toBe(false)
    await store.close()
    expect(allBytes().includes(bytes)).toBe(false)
    expect(query('keys.sqlite', 'SELECT case_id, wrapped, erased_at FROM case_key ORDER BY case_id')).toMatchObject([
      { case_id: 'moon', erased_at: null },
      { case_id: 'sun', wrapped: null, erased_at: at(3) },
    ])
  })

  test('again changes nothing, also after a restart and for a case that never was', async () => {
    let store = await opened()
    await store.erase('sun', at(3))
    await store.close()
    const before = [query('cases.sqlite', 'SELECT * FROM event'), query('keys.sqlite', 'SELECT * FROM case_key')]
    store = openSealed()
    await store.erase('sun', at(99))
    await store.close()
    expect([query('cases.sqlite', 'SELECT * FROM event'), query('keys.sqlite', 'SELECT * FROM case_key')]).toEqual(
      before,
    )
    store = openSealed()
    await store.erase('nobody', at(99))
    expect(await store.load('nobody')).toBeUndefined()
    await store.close()
  })

  test('a row of it that waits is given up, and what every row and event held is overwritten', async () => {
    let store = await opened()
    await store.claim('family', night, 60_000, 9)
    await store.rendered('sun.1.0', 'words', at(1))
    await store.commit(step('sun', 1, { outbox: [row('sun.2.0', 'q'), row('sun.2.1', 'r', { lane: 'page' })] }))
    expect(await store.outboxOf('sun')).toHaveLength(3)
    await store.erase('sun', at(3))
    expect(await store.claim('family', at(999), 60_000, 9)).toEqual([])
    expect(await store.claim('page', at(999), 60_000, 9)).toEqual([])
    // What was under way when it was erased ends without a fault and without a trace.
    await store.rendered('sun.1.0', 'words', at(5))
    await store.settle('sun.1.0', { kind: 'sent', at: at(6) })
    await store.close()
    const mark = '{"erased":true}'
    const inOutbox = query('cases.sqlite', 'SELECT effect, content, status, reason FROM outbox ORDER BY place')
    const gone = { effect: mark, content: null, status: 'given-up', reason: 'case-erased' }
    expect(inOutbox).toEqual([{ ...gone, content: mark }, gone, gone])
    const all = `SELECT event AS one FROM event JOIN case_ USING (opened) WHERE case_id = 'sun' UNION ALL
                 SELECT effects FROM event JOIN case_ USING (opened) WHERE case_id = 'sun' UNION ALL
                 SELECT state FROM case_ WHERE case_id = 'sun'`
    expect(query('cases.sqlite', all).map(({ one }) => one)).toEqual(Array(5).fill(mark))
    store = openSealed()
    expect((await store.load('moon'))?.state).toBe(step('moon', 0).state)
    expect(await store.history('moon')).toHaveLength(1)
    await store.close()
  })

  test('cut off after the key was destroyed, a row that waits comes out without words and is not rendered', async () => {
    const store = await opened()
    const keys = openKeys()
    await keys.erase('sun', at(3))
    await keys.close()
    await new Promise(resolve => setTimeout(resolve, 25))
    const [claimed] = await store.claim('family', at(4), 60_000, 9)
    expect(claimed).toMatchObject({ caseId: 'sun', effectId: 'sun.1.0', effect: '{}' })
    await store.rendered('sun.1.0', 'words', at(5))
    await store.settle('sun.1.0', { kind: 'given-up', at: at(5), reason: 'case-erased' })
    expect(query('cases.sqlite', 'SELECT content, status FROM outbox')).toEqual([{ content: null, status: 'given-up' }])
    await store.close()
  })

  test('a step on its way finds the case gone, and the message that opened it opens no other', async () => {
    const store = openSealed()
    const delivery = { channel: 'web', deliveryId: 'm1' }
    await store.commit(step('sun', 0, { delivery }))
    await store.erase('sun', at(3))
    expect(await store.commit(step('sun', 1))).toBe('conflict')
    expect(await store.commit(step('sun', 0, { delivery }))).toBe('conflict')
    expect(await store.commit(step('other', 0, { delivery }))).toBe('duplicate')
    await store.close()
  })

  test('by another process is noticed within 20 ms by the one that runs', async () => {
    const running = await opened()
    expect(await running.load('sun')).toBeDefined()
    const other = openSealed()
    await other.erase('sun', at(3))
    await other.close()
    await new Promise(resolve => setTimeout(resolve, 25))
    expect(await running.load('sun')).toBeUndefined()
    expect(await running.outboxOf('sun')).toEqual([])
    expect(await running.commit(step('sun', 1))).toBe('conflict')
    expect((await running.load('moon'))?.seq).toBe(1)
    expect(unreadable).toEqual([])
    await running.close()
  })

  test('by another process parks nothing before it is noticed: the case is gone, and no step of it is taken', async () => {
    await (await opened()).close()
    const slow = openCaseKeys({ file: file('keys.sqlite'), clinicKeys: () => clinicKeys(), lookEveryMs: 60_000 })
    const store = openSqliteStore<Content>({ file: file('cases.sqlite') })
    const running = sealedStore(store, slow, found => unreadable.push(found))
    expect(await running.load('sun')).toBeDefined()
    const other = openSealed()
    await other.erase('sun', at(3))
    await other.close()
    expect(slow.find('sun')).not.toBe('erased')
    expect(await running.load('sun')).toBeUndefined()
    expect(await running.history('sun')).toEqual([])
    expect((await running.outboxOf('sun')).map(one => one.effect)).toEqual(['{}'])
    expect((await running.recent(at(0))).map(({ caseId }) => caseId)).toEqual(['moon'])
    for (const from of [0, 1]) expect(await running.commit(step('sun', from))).toBe('conflict')
    expect(await running.claim('family', at(9), 1_000, 9)).toEqual([])
    expect(unreadable).toEqual([])
    await running.close()
  })

  test('cut off after the key was destroyed is finished by erasing again', async () => {
    let store = await opened()
    await store.close()
    const keys = openKeys()
    await keys.erase('sun', at(3))
    await keys.close()
    store = openSealed()
    expect(await store.load('sun')).toBeUndefined()
    expect((await store.due(at(99), 9)).map(({ caseId }) => caseId)).toContain('sun')
    await store.erase('sun', at(4))
    expect((await store.due(at(99), 9)).map(({ caseId }) => caseId)).toEqual(['moon'])
    await store.close()
  })

  test('purge takes what is closed and older, to the millisecond; open cases stay whatever their age', async () => {
    const store = openSealed()
    await store.commit(step('old-open', 0, { at: at(0) }))
    await store.commit(step('old-closed', 0, { at: at(0), closed: true }))
    await store.commit(step('edge-closed', 0, { at: at(10), closed: true }))
    await store.commit(step('before-edge', 0, { at: at(9.999), closed: true }))
    expect((await store.purge(at(10), at(20))).toSorted()).toEqual(['before-edge', 'old-closed'])
    expect((await store.recent(at(0))).map(({ caseId }) => caseId)).toEqual(['edge-closed', 'old-open'])
    expect(await store.purge(at(10), at(21))).toEqual([])
    await store.close()
  })

  test('purge leaves a case that somebody wrote to while others were erased', async () => {
    const inner = memoryStore()
    const store = sealedStore(asBytes(inner), openKeys(), found => unreadable.push(found))
    await store.commit(step('first', 0, { at: at(0), closed: true }))
    await store.commit(step('second', 0, { at: at(1), closed: true }))
    const purging = store.purge(at(10), at(20))
    await store.commit(step('second', 1, { at: at(15), closed: false }))
    expect(await purging).toEqual(['first'])
    expect((await store.load('second'))?.seq).toBe(2)
    await store.close()
  })
})

describe('the clinic’s keys', () => {
  test('rotate: new cases use the newest, old ones stay readable, and after wrapping again the old key is not needed', async () => {
    let store = openSealed()
    await store.commit(step('sun', 0))
    const first = clinicKeys().newest.id
    const second = addClinicKey(file('clinic-keys'))
    // The running store needs no restart for that.
    await store.commit(step('moon', 0))
    await store.close()
    let keys = openKeys()
    expect(Object.fromEntries(keys.inUse())).toEqual({ [first]: 1, [second]: 1 })
    expect(await keys.rewrap()).toBe(1)
    expect(await keys.rewrap()).toBe(0)
    expect(Object.fromEntries(keys.inUse())).toEqual({ [second]: 2 })
    await keys.close()
    removeClinicKeys(file('clinic-keys'), new Set([first]))
    expect(clinicKeys().ids).toEqual([second])
    store = openSealed()
    expect((await store.load('sun'))?.state).toBe(step('sun', 0).state)
    expect((await store.load('moon'))?.state).toBe(step('moon', 0).state)
    await store.close()
    // An erased case has nothing to wrap.
    keys = openKeys()
    await keys.erase('sun', at(1))
    addClinicKey(file('clinic-keys'))
    expect(await keys.rewrap()).toBe(1)
    expect(keys.find('sun')).toBe('erased')
    await keys.close()
  })

  test('a copy of the wrapped keys from before a rotation opens nothing once the old key is gone', async () => {
    const store = openSealed()
    await store.commit(step('sun', 0))
    await store.close()
    const old = readFileSync(file('keys.sqlite'))
    const first = clinicKeys().newest.id
    addClinicKey(file('clinic-keys'))
    const keys = openKeys()
    await keys.rewrap()
    await keys.close()
    removeClinicKeys(file('clinic-keys'), new Set([first]))
    writeFileSync(file('keys.sqlite'), old)
    const restored = openSealed()
    expect((await restored.load('sun'))?.state).toBe('')
    expect(unreadable[0]?.error.message).toContain(`the clinic's key ${first}, which is not in the file`)
    await restored.close()
  })

  test('never lose the newest, are the owner’s alone, and are refused when others may read them', () => {
    const path = file('clinic-keys')
    const first = addClinicKey(path)
    removeClinicKeys(path, new Set([first]))
    expect(readClinicKeys(path, 'refused').ids).toEqual([first])
    expect(statSync(path).mode & 0o777).toBe(0o600)
    for (const mode of [0o640, 0o604, 0o644, 0o660]) {
      chmodSync(path, mode)
      expect(() => readClinicKeys(path, 'refused')).toThrow(/others on this machine may read it .*chmod 600/)
    }
    readClinicKeys(path, 'mended')
    expect(statSync(path).mode & 0o777).toBe(0o600)
    expect(readdirSync(folder)).toEqual(['clinic-keys'])
  })

  test('missing, empty, cut short or mistyped are refused by line, and no message holds a key', () => {
    const path = file('clinic-keys')
    expect(() => readClinicKeys(path, 'refused')).toThrow(/is missing. Put back the saved copy/)
    writeFileSync(path, '# nothing\n', { mode: 0o600 })
    expect(() => readClinicKeys(path, 'refused')).toThrow(/holds no key/)
    rmSync(path)
    addClinicKey(path)
    addClinicKey(path)
    const good = readFileSync(path, 'utf8')
    const digits = good.split(/\s+/)[3] ?? ''
    const spoilt: [string, RegExp][] = [
      [good.slice(0, -9), /clinic-keys:2: expected an id of 8 and a key of 64/],
      [good.replace(digits, `${digits.slice(0, -1)}${digits.endsWith('0') ? '1' : '0'}`), /clinic-keys:2: .* a digit/],
      [good.replace(digits, `${digits}00`), /clinic-keys:2/],
      [`${good}more\n`, /clinic-keys:3/],
    ]
    for (const [text, words] of spoilt) {
      writeFileSync(path, text, { mode: 0o600 })
      let said = ''
      try {
        readClinicKeys(path, 'refused')
      } catch (error) {
        said = (error as Error).message
      }
      expect(said).toMatch(words)
      expect(said).not.toMatch(/[0-9a-f]{16}/)
    }
  })

  test('while one process looks for unused keys no other wraps with one', async () => {
    const [one, two] = [openKeys(), openKeys()]
    const order: string[] = []
    await one.whileNoneIsMade(() => {
      order.push('looked')
      expect(() => new DatabaseSync(file('keys.sqlite'), { timeout: 0 }).exec('BEGIN IMMEDIATE')).toThrow(/locked/)
    })
    await two.make('sun')
    order.push('made')
    expect(order).toEqual(['looked', 'made'])
    await one.close()
    await two.close()
  })
})
