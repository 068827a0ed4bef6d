import { cpSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import type { Instant } from '../time/instant.ts'
import { type LoadedLine, loadLine } from './load-line.ts'
import { putBack, waysBack } from './roll-back.ts'

/**
 * The line with one part as it was approved and everything else as it stands, read from a copy of the clinic's folder that is
 * thrown away. Where the approved files fit what stands there in no way, why.
 *
 * @param hash  of the approved content: exactly that comes out, or nothing
 */
export function approvedLine(
  place: { readonly clinicDir: string; readonly flowsDir?: string; readonly part: string; readonly at: Instant },
  hash: string,
): LoadedLine | { readonly why: 'not-kept' | 'does-not-fit' } {
  const { clinicDir, flowsDir, part, at } = place
  const ways = waysBack(place, hash)
  for (const way of ways) {
    const copy = mkdtempSync(join(tmpdir(), 'smallhours-approved-'))
    try {
      cpSync(clinicDir, copy, { recursive: true, filter: path => basename(path) !== 'approvals' })
      putBack({ ...way, clinicDir: copy })
      const { loaded, approvables } = loadLine({
        ...{ clinicDir: copy, at },
        ...(flowsDir === undefined ? {} : { flowsDir }),
      })
      if (loaded !== undefined && approvables.find(({ id }) => id === part)?.hash === hash) return loaded
    } finally {
      rmSync(copy, { recursive: true, force: true })
    }
  }
  return { why: ways.length === 0 ? 'not-kept' : 'does-not-fit' }
}
