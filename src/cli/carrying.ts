import { chmodSync, copyFileSync, cpSync, existsSync, mkdirSync, readdirSync, renameSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import { backup, DatabaseSync } from 'node:sqlite'
import type { StoreRoute } from '../config/store-section.ts'
import { actForAll, movableRedis } from '../store/redis/moving.ts'
import { openMovableFile } from '../store/sqlite/moving.ts'
import { claimServing } from '../store/sqlite/serving-lock.ts'
import { StoreUnusable } from '../store/store.ts'
import { carryOver, type Movable } from '../store/whole-chat.ts'
import { dataFiles } from './data-folder.ts'
import { openRedisOf } from './redis-at-hand.ts'

/** Databases of their own beside the cases. */
const DATABASES_BESIDE = ['accountsFile', 'reviewsFile'] as const

/** What is carried: where the cases are kept, the folder beside them, and whom to tell how far it is. */
export interface Carrying {
  readonly dataDir: string
  /** The Redis that keeps the cases; left out: the folder's own file. */
  readonly store: StoreRoute | undefined
  readonly isDemonstration: boolean
  readonly told: (carried: number, there: number, all: number) => void
}

export type Carried = Awaited<ReturnType<typeof carryOver>>

/** Copied beside cases and keys, where they are there. Never the clinic's keys: with them a copy could be read. */
const BESIDE = ['deskFile', 'testCalloutsFile', 'coverToldFile'] as const

/**
 * A copy of everything but the clinic's keys, made while the line runs. Keys go last: a case newer than its key's copy could
 * never be read again. The folder appears when it is whole.
 *
 * @throws StoreUnusable
 */
export async function makeBackup(carrying: Carrying, to: string): Promise<Carried> {
  if (existsSync(to) && readdirSync(to).length > 0)
    throw new StoreUnusable(`${to}: there is something in this folder; name a new one for each backup`)
  const part = `${to.replace(/\/+$/, '')}.part`
  rmSync(part, { recursive: true, force: true })
  mkdirSync(part, { recursive: true, mode: 0o700 })
  const [here, copy] = [dataFiles(carrying.dataDir), dataFiles(part)]
  if (carrying.store === undefined) await copyDatabase(here.databaseFile, copy.databaseFile)
  const file = openMovableFile(copy.databaseFile)
  try {
    const carried =
      carrying.store === undefined ? await counted(file) : await outOfRedis(carrying, carrying.store, file)
    await file.close()
    copyPhotos(here.photosFolder, copy.photosFolder)
    await copyDatabase(here.caseKeysFile, copy.caseKeysFile)
    for (const name of DATABASES_BESIDE) if (existsSync(here[name])) await copyDatabase(here[name], copy[name])
    for (const name of BESIDE) if (existsSync(here[name])) copyFileSync(here[name], copy[name])
    for (const entry of readdirSync(part, { withFileTypes: true }))
      if (entry.isFile()) chmodSync(join(part, entry.name), 0o600)
    copyEditions(carrying.dataDir, part)
    rmSync(to, { recursive: true, force: true })
    renameSync(part, to)
    return carried
  } catch (error) {
    await file.close().catch(() => undefined)
    throw error
  }
}

/**
 * Puts a backup into a data folder without cases, and into the Redis where one is named. Cut off, it is run again.
 *
 * @throws StoreUnusable
 */
export async function restoreBackup(carrying: Carrying, from: string): Promise<Carried> {
  const [here, copy] = [dataFiles(carrying.dataDir), dataFiles(from)]
  for (const file of [copy.databaseFile, copy.caseKeysFile])
    if (!existsSync(file)) throw new StoreUnusable(`${file}: not there; a backup holds the cases and their keys`)
  if (existsSync(here.databaseFile))
    throw new StoreUnusable(`${here.databaseFile}: this folder keeps cases; name a new one with --data`)
  mkdirSync(carrying.dataDir, { recursive: true, mode: 0o700 })
  return alone(carrying.dataDir, async () => {
    await placed(copy.caseKeysFile, here.caseKeysFile)
    for (const name of DATABASES_BESIDE)
      if (existsSync(copy[name]) && !existsSync(here[name])) await placed(copy[name], here[name])
    for (const name of BESIDE)
      if (existsSync(copy[name]) && !existsSync(here[name])) copyFileSync(copy[name], here[name])
    copyEditions(from, carrying.dataDir)
    copyPhotos(copy.photosFolder, here.photosFolder)
    const restoring = `${here.databaseFile}.restoring`
    rmSync(restoring, { force: true })
    await copyDatabase(copy.databaseFile, restoring)
    const file = openMovableFile(restoring)
    const carried = carrying.store === undefined ? await counted(file) : await intoRedis(carrying, carrying.store, file)
    await file.close()
    if (carrying.store === undefined) renameSync(restoring, here.databaseFile)
    else rmSync(restoring)
    return carried
  })
}

/**
 * Carries the cases of the folder's file into the Redis; the file is then kept under another name, so that nobody serves
 * from it. Cut off, it is run again.
 *
 * @throws StoreUnusable
 */
export async function moveToRedis(carrying: Carrying): Promise<Carried> {
  const { databaseFile } = dataFiles(carrying.dataDir)
  const { store } = carrying
  if (store === undefined) throw new StoreUnusable('the clinic file names no Redis: write its address under store')
  if (!existsSync(databaseFile))
    throw new StoreUnusable(
      existsSync(`${databaseFile}.moved`)
        ? `${databaseFile}.moved: the cases of this folder were moved before`
        : `${databaseFile}: not there; name the folder whose cases are to be moved with --data`,
    )
  return alone(carrying.dataDir, async () => {
    const file = openMovableFile(databaseFile)
    try {
      return await intoRedis(carrying, store, file)
    } finally {
      await file.close()
    }
  }).then(carried => {
    renameSync(databaseFile, `${databaseFile}.moved`)
    return carried
  })
}

/** Nothing serves the folder meanwhile. */
async function alone<T>(dataDir: string, work: () => Promise<T>): Promise<T> {
  const claim = claimServing(dataFiles(dataDir).servingFile, process.pid)
  try {
    return await work()
  } finally {
    claim.release()
  }
}

async function intoRedis({ isDemonstration, told }: Carrying, route: StoreRoute, file: Movable): Promise<Carried> {
  const store = await openRedisOf(route, isDemonstration, () => undefined)
  try {
    await actForAll(store)
    return await carryOver(file, movableRedis(store), told)
  } finally {
    await store.close()
  }
}

async function outOfRedis({ isDemonstration, told }: Carrying, route: StoreRoute, file: Movable): Promise<Carried> {
  const store = await openRedisOf(route, isDemonstration, () => undefined)
  try {
    return await carryOver(movableRedis(store), file, told)
  } finally {
    await store.close()
  }
}

/** What the line decided with: old cases are replayed by it. */
function copyEditions(from: string, to: string): void {
  const [source, target] = [join(from, 'editions'), join(to, 'editions')]
  if (existsSync(source)) cpSync(source, target, { recursive: true, force: false })
}

/** Photos as they are, sealed. One that is erased meanwhile, or not whole yet, is none. */
function copyPhotos(from: string, to: string): void {
  if (!existsSync(from)) return
  for (const place of readdirSync(from)) {
    mkdirSync(join(to, place), { recursive: true, mode: 0o700 })
    for (const name of existsSync(join(from, place)) ? readdirSync(join(from, place)) : []) {
      if (name.endsWith('.part')) continue
      try {
        copyFileSync(join(from, place, name), join(to, place, name))
      } catch (error) {
        if (!(error instanceof Error && 'code' in error && error.code === 'ENOENT')) throw error
      }
    }
  }
}

/** What a file holds, read through once: a copy that cannot be read is found now. */
async function counted(file: Movable): Promise<Carried> {
  const chats = await file.chats()
  let cases = 0
  for (const chat of chats) cases += (await file.take(chat)).cases.length
  return { chats: chats.length, carried: chats.length, cases }
}

/** Page by page, while others write: the copy is as of one moment. */
async function copyDatabase(from: string, to: string): Promise<void> {
  if (!existsSync(from)) throw new StoreUnusable(`${from}: not there; name the folder of the running line with --data`)
  const source = new DatabaseSync(from, { readOnly: true })
  try {
    await backup(source, to)
    chmodSync(to, 0o600)
  } finally {
    source.close()
  }
}

/** A file that is to be there as in the backup; one that is there from a restore that was cut off is made anew. */
async function placed(from: string, to: string): Promise<void> {
  const part = `${to}.restoring`
  rmSync(part, { force: true })
  await copyDatabase(from, part)
  renameSync(part, to)
}
