import { createHash, createHmac, type KeyObject } from 'node:crypto'
import { mkdirSync } from 'node:fs'
import { open, readdir, readFile, rename, rm } from 'node:fs/promises'
import { join } from 'node:path'
import { type Instant, instant } from '../time/instant.ts'
import { type CaseKeys, openBytes, SealBroken, sealBytes } from './seal.ts'

/** One photo of a case, without its content. */
export interface KeptPhoto {
  /** Letters, digits and a hyphen; unique within the case. */
  readonly id: string
  readonly at: Instant
}

export interface PhotoContent {
  /** Media type, such as `image/jpeg`. */
  readonly type: string
  readonly bytes: Uint8Array
}

/** Photos of families, sealed with the key of their case: a file each, in a folder for each case. */
export interface PhotoFolder {
  /**
   * Durable on return. The same photo again is the one that is there. `full`: the case has `most` already. `gone`: the case was erased, or never was.
   * @throws SealBroken when the key of the case is there and cannot be unwrapped
   */
  keep(caseId: string, photo: PhotoContent, at: Instant, most: number): Promise<KeptPhoto | 'full' | 'gone'>
  /** Photos of a case, oldest first. Reads none of them. */
  of(caseId: string): Promise<readonly KeptPhoto[]>
  /** @throws SealBroken when it is there and does not open: damaged, changed, or moved from another case */
  open(caseId: string, id: string): Promise<PhotoContent | undefined>
  /** Removes the photos of a case; how many. Again: none. */
  forget(caseId: string): Promise<number>
}

const ID = /^\d{1,15}-[0-9a-f]{16}$/
const PRIVATE = 0o600

/**
 * The store keeps small texts and reads whole cases at once; photos lie beside it, so that no step waits for one. With the
 * key of a case its photos are gone too, in every copy of the folder.
 *
 * @param folder made when the first photo is kept
 */
export function photoFolder(folder: string, keys: Pick<CaseKeys, 'find'>): PhotoFolder {
  // One after the other: of two at once both would find a place left.
  let last: Promise<unknown> = Promise.resolve()
  const placeOf = (caseId: string) => join(folder, createHash('sha256').update(caseId).digest('hex').slice(0, 32))
  const keyOf = (caseId: string) => {
    const key = keys.find(caseId)
    return key === 'erased' ? undefined : key
  }

  async function of(caseId: string): Promise<readonly KeptPhoto[]> {
    const names = (await unlessAbsent(readdir(placeOf(caseId)))) ?? []
    return names
      .filter(name => ID.test(name))
      .map(id => ({ id, at: instant(Number(id.split('-')[0])) }))
      .sort((a, b) => a.at - b.at || a.id.localeCompare(b.id))
  }

  async function keep(caseId: string, photo: PhotoContent, at: Instant, most: number) {
    const key = keyOf(caseId)
    if (key === undefined) return 'gone'
    const there = await of(caseId)
    const mark = markOf(key, photo)
    const before = there.find(({ id }) => id.endsWith(`-${mark}`))
    if (before !== undefined) return before
    if (there.length >= most) return 'full'
    const id = `${at}-${mark}`
    const head = Buffer.from(`${photo.type}\n`, 'latin1')
    const sealed = sealBytes(key, [caseId, 'photo', id], Buffer.concat([head, photo.bytes]))
    mkdirSync(placeOf(caseId), { recursive: true, mode: 0o700 })
    await written(join(placeOf(caseId), id), sealed)
    await durable(placeOf(caseId))
    return { id, at }
  }

  return {
    of,
    keep(caseId, photo, at, most) {
      const next = last.then(() => keep(caseId, photo, at, most))
      last = next.catch(() => undefined)
      return next
    },
    async open(caseId, id) {
      const key = keyOf(caseId)
      if (key === undefined || !ID.test(id)) return undefined
      const sealed = await unlessAbsent(readFile(join(placeOf(caseId), id)))
      if (sealed === undefined) return undefined
      const plain = openBytes(key, [caseId, 'photo', id], sealed)
      const end = plain.indexOf('\n')
      if (end < 0) throw new SealBroken('photo: it opens, and does not say what it is')
      return { type: plain.subarray(0, end).toString('latin1'), bytes: plain.subarray(end + 1) }
    },
    async forget(caseId) {
      const count = (await of(caseId)).length
      await rm(placeOf(caseId), { recursive: true, force: true })
      return count
    },
  }
}

/** Tells a photo sent twice; says nothing of it without the key. */
const markOf = (key: KeyObject, { bytes }: PhotoContent): string =>
  createHmac('sha256', key).update('photo').update(bytes).digest('hex').slice(0, 16)

/** How many photos lie in a folder, of all cases. */
export async function photosKept(folder: string): Promise<number> {
  const places = (await unlessAbsent(readdir(folder))) ?? []
  const counts = await Promise.all(
    places.map(async place => ((await unlessAbsent(readdir(join(folder, place)))) ?? []).filter(name => ID.test(name))),
  )
  return counts.flat().length
}

async function written(file: string, content: Uint8Array): Promise<void> {
  const part = `${file}.part`
  const handle = await open(part, 'w', PRIVATE)
  try {
    await handle.writeFile(content)
    await handle.sync()
  } finally {
    await handle.close()
  }
  await rename(part, file)
}

/** A name in a folder is durable once the folder is. */
async function durable(folder: string): Promise<void> {
  const handle = await open(folder, 'r')
  try {
    await handle.sync()
  } finally {
    await handle.close()
  }
}

async function unlessAbsent<T>(reading: Promise<T>): Promise<T | undefined> {
  try {
    return await reading
  } catch (error) {
    if (error instanceof Error && 'code' in error && (error.code === 'ENOENT' || error.code === 'ENOTDIR'))
      return undefined
    throw error
  }
}
