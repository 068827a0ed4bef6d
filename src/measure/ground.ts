import type { ChildProcess } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

/** Folders and processes of one measurement, gone when it ends: well, with an error, or by Ctrl-C. */
export interface Ground {
  /** A new empty folder on the disk of the temporary files. */
  folder(): string
  /** Removes one that is no longer needed. */
  removeFolder(path: string): void
  /** Ends `child` when the measurement ends before it does. */
  adopt<T extends ChildProcess>(child: T): T
  /** Removes and ends everything. */
  clear(): void
}

const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const
const SIGNAL_NUMBERS = { SIGINT: 2, SIGTERM: 15, SIGHUP: 1 } as const

export function newGround(): Ground {
  const folders = new Set<string>()
  const children = new Set<ChildProcess>()

  function clear(): void {
    for (const child of children) child.kill('SIGKILL')
    children.clear()
    for (const path of folders) rmSync(path, { recursive: true, force: true, maxRetries: 3 })
    folders.clear()
    process.off('exit', clear)
    for (const signal of SIGNALS) process.off(signal, leave)
  }

  /** Exits as a process that the signal ended would have; `clear` runs on the way out. */
  function leave(signal: (typeof SIGNALS)[number]): void {
    process.exit(128 + SIGNAL_NUMBERS[signal])
  }

  process.on('exit', clear)
  for (const signal of SIGNALS) process.on(signal, leave)
  return {
    folder() {
      const path = mkdtempSync(join(tmpdir(), 'smallhours-measure-'))
      folders.add(path)
      return path
    },
    removeFolder(path) {
      rmSync(path, { recursive: true, force: true, maxRetries: 3 })
      folders.delete(path)
    },
    adopt(child) {
      children.add(child)
      child.once('exit', () => children.delete(child))
      return child
    },
    clear,
  }
}
