import { closeSync, fsyncSync, openSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { dirname } from 'node:path'
import { clinicHash } from './clinic-edits.ts'

/** What became of a text that was to be written. */
export type Saved =
  | { readonly kind: 'saved' }
  /** Somebody else wrote first; nothing was written. */
  | { readonly kind: 'stale'; readonly hash: string }

/**
 * Writes a clinic's file whole or not at all, and only over the text that it was made from. Throws where the disk refuses.
 *
 * @param basedOn  `clinicHash` of the text the edit was made from
 */
export function saveClinic(file: string, text: string, basedOn: string): Saved {
  const hash = clinicHash(readFileSync(file, 'utf8'))
  if (hash !== basedOn) return { kind: 'stale', hash }
  writeWhole(file, text, statSync(file).mode & 0o777)
  return { kind: 'saved' }
}

/** Writes a file beside and moves it into place, on disk before the old one is gone. */
export function writeWhole(file: string, text: string, mode = 0o600): void {
  const beside = `${file}.new`
  try {
    const handle = openSync(beside, 'w', mode)
    try {
      writeFileSync(handle, text)
      fsyncSync(handle)
    } finally {
      closeSync(handle)
    }
    renameSync(beside, file)
  } catch (cause) {
    rmSync(beside, { force: true })
    throw cause
  }
  const folder = openSync(dirname(file), 'r')
  try {
    fsyncSync(folder)
  } finally {
    closeSync(folder)
  }
}
