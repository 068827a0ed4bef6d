import type { Page, Paged, Pager } from '../pagers/pager.ts'
import { seconds } from '../time/instant.ts'
import { type Clock, within } from './clock.ts'
import { PAGE_LANE } from './lane.ts'

/** Waits before the tries of one address: at once, and again while it is not known to have been taken. */
const TRIES_AFTER = [0, seconds(5), seconds(15), seconds(30)]

/** Carries pages straight to the pagers: kept nowhere but in memory, for what must not wait for the store or is no case. */
export interface Carrier {
  /** Never throws. A page that is not known to have been taken goes out again under the same key, and says so. */
  carry(pagerId: string, page: Page): Promise<'accepted' | 'unknown' | 'refused'>
  /** Tries no more. */
  stop(): void
}

export function carrier(deps: { readonly clock: Clock; readonly pagerOf: (id: string) => Pager | undefined }): Carrier {
  const { clock } = deps
  const waits = new Set<() => void>()
  let stopped = false

  async function carry(pagerId: string, first: Page): Promise<'accepted' | 'unknown' | 'refused'> {
    let mayHaveArrived = false
    for (const wait of TRIES_AFTER) {
      if (wait > 0) await rest(wait)
      if (stopped) return 'refused'
      const paged = await once(pagerId, { ...first, repeated: mayHaveArrived })
      if (paged.kind === 'accepted') return 'accepted'
      mayHaveArrived ||= paged.kind === 'unknown'
      if (paged.kind === 'refused') break
    }
    return mayHaveArrived ? 'unknown' : 'refused'
  }

  async function once(pagerId: string, one: Page): Promise<Paged> {
    const pager = deps.pagerOf(pagerId)
    if (pager === undefined) return { kind: 'refused', reason: 'pager-unknown' }
    try {
      const late: Paged = { kind: 'unknown', reason: 'timeout' }
      return await within(clock, PAGE_LANE.timeout, pager.page(one), late)
    } catch {
      return { kind: 'unknown', reason: 'adapter-threw' }
    }
  }

  function rest(ms: number): Promise<void> {
    return new Promise(resolve => {
      const end = (): void => {
        cancel()
        waits.delete(end)
        resolve()
      }
      const cancel = clock.wake(clock.monotonicMs() + ms, end)
      waits.add(end)
    })
  }

  return {
    carry,
    stop() {
      stopped = true
      for (const end of [...waits]) end()
    },
  }
}
