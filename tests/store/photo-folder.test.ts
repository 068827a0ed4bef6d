import { createSecretKey, type KeyObject } from 'node:crypto'
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { photoFolder, photosKept } from '../../src/store/photo-folder.ts'
import { newKey, SealBroken } from '../../src/store/seal.ts'
import { instant } from '../../src/time/instant.ts'

const AT = instant(Date.parse('2026-03-01T07:10:00Z'))
const photo = (text: string) => ({ type: 'image/jpeg', bytes: Buffer.from(text) })

describe('photos of families', () => {
  let folder: string
  let keys: Map<string, KeyObject | 'erased'>
  const open = () => photoFolder(join(folder, 'photos'), { find: caseId => keys.get(caseId) })
  const files = () => readdirSync(join(folder, 'photos'), { recursive: true }).map(String)

  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'photos-'))
    keys = new Map(['case-1', 'case-2'].map(caseId => [caseId, createSecretKey(newKey())]))
  })
  afterEach(() => rmSync(folder, { recursive: true, force: true }))

  it('are kept, listed oldest first, and opened again, also by another process', async () => {
    await open().keep('case-1', photo('first'), AT, 3)
    await open().keep('case-1', photo('second'), instant(AT + 1), 3)
    const kept = await open().of('case-1')
    expect(kept.map(({ at }) => at)).toEqual([AT, AT + 1])
    const found = await open().open('case-1', kept[0]?.id ?? '')
    expect([found?.type, Buffer.from(found?.bytes ?? []).toString()]).toEqual(['image/jpeg', 'first'])
    expect(await photosKept(join(folder, 'photos'))).toBe(2)
  })

  it('hold nothing on the disk that can be read: not the picture, not the case', async () => {
    await open().keep('case-1', photo('a picture of skin'), AT, 3)
    const [place = '', file = ''] = files().sort((a, b) => a.length - b.length)
    expect(place).not.toContain('case-1')
    const bytes = readFileSync(join(folder, 'photos', file))
    for (const word of ['picture', 'image/jpeg', 'case-1']) expect(bytes.includes(word)).toBe(false)
  })

  it('sent twice is kept once, and takes one place', async () => {
    const photos = open()
    const twice = await Promise.all([1, 2].map(() => photos.keep('case-1', photo('same'), AT, 1)))
    expect(twice[0]).toEqual(twice[1])
    expect(await photos.keep('case-1', photo('other'), AT, 1)).toBe('full')
  })

  it('at once never become more than the clinic allows', async () => {
    const photos = open()
    const kept = await Promise.all([1, 2, 3, 4, 5].map(n => photos.keep('case-1', photo(`${n}`), AT, 3)))
    expect(kept.filter(each => each === 'full')).toHaveLength(2)
    expect(await photos.of('case-1')).toHaveLength(3)
  })

  it('of an erased case do not open, before their files are gone and after', async () => {
    const photos = open()
    const kept = await photos.keep('case-1', photo('x'), AT, 3)
    const id = typeof kept === 'string' ? '' : kept.id
    keys.set('case-1', 'erased')
    expect(await photos.open('case-1', id)).toBeUndefined()
    expect(await photos.keep('case-1', photo('y'), AT, 3)).toBe('gone')
    expect([await photos.forget('case-1'), await photos.forget('case-1')]).toEqual([1, 0])
    expect(await photosKept(join(folder, 'photos'))).toBe(0)
  })

  it('moved to another case, or changed, does not open', async () => {
    const photos = open()
    const kept = await photos.keep('case-1', photo('x'), AT, 3)
    const id = typeof kept === 'string' ? '' : kept.id
    await photos.keep('case-2', photo('y'), AT, 3)
    const [one = ''] = files().filter(name => name.endsWith(id))
    const other = files().find(name => !name.includes('/') && !one.startsWith(name)) ?? ''
    mkdirSync(join(folder, 'photos', other), { recursive: true })
    renameSync(join(folder, 'photos', one), join(folder, 'photos', other, id))
    await expect(photos.open('case-2', id)).rejects.toThrow(SealBroken)
    expect(await photos.open('case-1', id)).toBeUndefined()
    writeFileSync(join(folder, 'photos', other, id), 'short')
    await expect(photos.open('case-2', id)).rejects.toThrow(SealBroken)
  })

  it.each(['../../keys.sqlite', '..', '', `1-${'0'.repeat(15)}/`, '/etc/passwd'])(
    'an id like "%s" reaches no file',
    async id => {
      expect(await open().open('case-1', id)).toBeUndefined()
    },
  )

  it('of a case that never was are not kept', async () => {
    expect(await open().keep('nobody', photo('x'), AT, 3)).toBe('gone')
    expect(await open().of('nobody')).toEqual([])
  })
})
