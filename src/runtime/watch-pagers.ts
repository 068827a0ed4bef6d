import type { Page, Paged, Pager } from '../pagers/pager.ts'
import { type Instant, minutes } from '../time/instant.ts'
import { type Clock, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { PAGE_LANE } from './lane.ts'

/** A way of paging that has taken nothing for so long, though it was tried, is reported. */
export const PAGER_FAILS_MS = minutes(2)

export interface WatchPagersDependencies {
  readonly clock: Clock
  readonly pagerOf: (id: string) => Pager | undefined
  readonly onFault: OnFault
}

export interface WatchPagers {
  /** The same pager, whose every answer is heard, which never throws and never hangs. */
  readonly pagerOf: (id: string) => Pager | undefined
  /** Ways of paging that have taken nothing for {@link PAGER_FAILS_MS}, and since when. */
  failing(): readonly { readonly pager: string; readonly since: Instant }[]
  stop(): void
}

interface Trouble {
  readonly at: Instant
  readonly ms: number
  readonly cancel: () => void
}

/**
 * Hears what becomes of every page. A way of paging counts as failing from its first failure on until it takes one: nothing
 * but a page taken shows that it works.
 */
export function watchPagers(deps: WatchPagersDependencies): WatchPagers {
  const { clock, onFault } = deps
  const troubles = new Map<string, Trouble>()
  const watched = new WeakMap<Pager, Pager>()

  function heard(id: string, paged: Paged): void {
    const trouble = troubles.get(id)
    if (paged.kind === 'accepted') {
      trouble?.cancel()
      troubles.delete(id)
    } else if (trouble === undefined) {
      const ms = clock.monotonicMs()
      const cancel = clock.wake(ms + PAGER_FAILS_MS, () => onFault({ code: 'pager-failing', why: id }))
      troubles.set(id, { at: clock.now(), ms, cancel })
    }
  }

  async function paging(pager: Pager, page: Page): Promise<Paged> {
    const sent = tried(pager, page)
    const paged = await within<Paged, Paged>(clock, PAGE_LANE.timeout, sent, { kind: 'unknown', reason: 'timeout' })
    heard(pager.id, paged)
    // One that answers late works after all.
    if (paged.kind === 'unknown') void sent.then(late => late.kind === 'accepted' && heard(pager.id, late))
    return paged
  }

  function watch(pager: Pager): Pager {
    const made: Pager = { id: pager.id, page: page => paging(pager, page), stop: () => pager.stop() }
    watched.set(pager, made)
    return made
  }

  return {
    pagerOf: id => {
      const pager = deps.pagerOf(id)
      return pager === undefined ? undefined : (watched.get(pager) ?? watch(pager))
    },
    failing: () =>
      [...troubles]
        .filter(([, { ms }]) => clock.monotonicMs() - ms >= PAGER_FAILS_MS)
        .map(([pager, { at }]) => ({ pager, since: at })),
    stop() {
      for (const { cancel } of troubles.values()) cancel()
    },
  }
}

/** Adapters promise not to throw; one that does may have sent before it did. */
async function tried(pager: Pager, page: Page): Promise<Paged> {
  try {
    return await pager.page(page)
  } catch {
    return { kind: 'unknown', reason: 'adapter-threw' }
  }
}
