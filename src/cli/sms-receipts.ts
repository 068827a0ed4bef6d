/** Pages by text message whose receipts are waited for, in the data folder: the receipt of a page may come after a restart. */
import { existsSync, readFileSync, statSync } from 'node:fs'
import { z } from 'zod'
import { writeWhole } from '../config/clinic-save.ts'
import type { Page } from '../pagers/pager.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Receipt, WaitedTexts } from '../sms/receipts.ts'
import { hours, type Instant, instant } from '../time/instant.ts'

/** What of a page is needed once its receipt comes. */
export interface PageSent {
  /** Empty for a page that is about no case. */
  readonly caseId: string
  readonly key: string
  readonly address: string
  readonly name: string
}

export interface PageReceipts {
  readonly waited: WaitedTexts
  /** The name under which the receipt of a page is waited for. */
  wait(page: Page): string
  take(about: string, outcome: Receipt): Promise<void>
  tell(onReceipt: OnReceipt): void
  lost(): readonly { readonly name: string; readonly at: Instant }[]
}

/** Told what became of a page at the telephone; rejects where that could not be kept. */
export type OnReceipt = (page: PageSent, outcome: Receipt) => Promise<void>

/** So long a page that did not arrive is told on the board. Our own figure, no source. */
const LOST_TOLD_MS = hours(12)

const sent = z.object({ caseId: z.string(), key: z.string(), address: z.string(), name: z.string() })
const shape = z.object({
  texts: z.array(z.object({ about: z.string(), left: z.array(z.string()) })),
  lost: z.array(
    z.object({ address: z.string(), name: z.string(), at: z.number().int().positive().transform(instant) }),
  ),
})
type Kept = z.infer<typeof shape>

/** @param file  left out: what is waited for ends with this process, as in a demonstration that is thrown away */
export function pageReceipts(
  now: Clock['now'],
  file: string | undefined,
  onFault: (error: unknown) => void,
): PageReceipts {
  let kept: Kept = { texts: [], lost: [] }
  let seen = 'none'
  /** Another process of the line writes here too: what stands on disk counts. */
  const fresh = (): Kept => {
    const mark = markOf(file)
    if (file !== undefined && mark !== seen) {
      kept = keptIn(file, onFault)
      seen = mark
    }
    return kept
  }
  /** A disk that refuses costs a receipt, and no page. */
  function change(next: Partial<Kept>): void {
    kept = { ...fresh(), ...next }
    if (file === undefined) return
    try {
      writeWhole(file, `${JSON.stringify(kept)}\n`)
      seen = markOf(file)
    } catch (error) {
      onFault(error)
    }
  }
  const lostNow = () => fresh().lost.filter(({ at }) => now() - at < LOST_TOLD_MS)

  let ready: (onReceipt: OnReceipt) => void = () => undefined
  const told = new Promise<OnReceipt>(resolve => (ready = resolve))
  return {
    waited: {
      read: () => fresh().texts,
      write: texts => change({ texts: [...texts].map(one => ({ ...one, left: [...one.left] })) }),
    },
    wait({ caseId, key, address, to }) {
      return JSON.stringify({ caseId, key, address, name: to.name } satisfies PageSent)
    },
    async take(about, outcome) {
      const page = sent.parse(JSON.parse(about))
      const others = lostNow().filter(({ address }) => address !== page.address)
      const isKnown = others.length !== fresh().lost.length
      if (outcome === 'lost') change({ lost: [...others, { address: page.address, name: page.name, at: now() }] })
      else if (isKnown) change({ lost: others })
      // The telephone company may come with receipts before the line is put together.
      await (await told)(page, outcome)
    },
    tell: onReceipt => ready(onReceipt),
    lost: lostNow,
  }
}

/** Changes with the file. */
function markOf(file: string | undefined): string {
  const found = file === undefined ? undefined : statSync(file, { throwIfNoEntry: false })
  return found === undefined ? 'none' : `${found.mtimeMs} ${found.size} ${found.ino}`
}

function keptIn(file: string, onFault: (error: unknown) => void): Kept {
  if (!existsSync(file)) return { texts: [], lost: [] }
  try {
    return shape.parse(JSON.parse(readFileSync(file, 'utf8')))
  } catch (error) {
    onFault(error)
    return { texts: [], lost: [] }
  }
}
