import { existsSync, mkdirSync, readdirSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { days } from '../time/instant.ts'

/** A name so old, of a process that does not live, was left by one that was killed. */
const LEFT_MS = days(1)

/** The processes of a line that work from this data folder, by a small file each. */
export interface LineMembers {
  /** Written before a process joins the line. */
  add(member: string): void
  remove(member: string): void
  /** Of processes of the line, those that do not work from this folder. */
  elsewhere(members: readonly string[]): readonly string[]
}

/**
 * Keys of cases lie in the data folder. Processes on one Redis that work from two folders, a copy included, each make keys
 * the other lacks: cases could then not be read. So each leaves its name here, and whoever finds a living process without
 * one does not join.
 */
export function lineMembers(folder: string, now: () => number): LineMembers {
  const fileOf = (member: string) => join(folder, member)
  return {
    add(member) {
      mkdirSync(folder, { recursive: true, mode: 0o700 })
      writeFileSync(fileOf(member), '', { mode: 0o600 })
    },
    remove: member => rmSync(fileOf(member), { force: true }),
    elsewhere(members) {
      const here = new Set(existsSync(folder) ? readdirSync(folder) : [])
      for (const name of here)
        if (!members.includes(name) && now() - statSync(fileOf(name)).mtimeMs > LEFT_MS) rmSync(fileOf(name))
      return members.filter(member => !here.has(member))
    },
  }
}
