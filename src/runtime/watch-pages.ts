import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { Page, Paged, Pager } from '../pagers/pager.ts'
import { seconds } from '../time/instant.ts'
import { type Clock, type Random, within } from './clock.ts'
import type { OnFault } from './fault.ts'
import { PAGE_LANE } from './lane.ts'
import { addressesOf, everyoneAt } from './reach.ts'

/** Waits before the tries of one address: at once, and again while it is not known to have been taken. */
const TRIES_AFTER = [0, seconds(5), seconds(15), seconds(30)]

/** What people are told about the line itself: it is down, it is still down, it works again. */
export type LineNews = 'down' | 'still-down' | 'back'

export interface WatchPagesDependencies {
  /** The clinic as it is now. */
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly random: Random
  readonly pagerOf: (id: string) => Pager | undefined
  /** Pieces of the page's text, most urgent first; names no family. */
  readonly textOf: (news: LineNews) => readonly string[]
  readonly fitPage: (pieces: readonly string[], link: string) => string
  /** Where the state of the line is to be read. */
  readonly link: () => string
  readonly onFault: OnFault
}

/** Pages about the line itself. */
export interface WatchPages {
  /** Pages everyone the ladder comes to now, at every address they have. Never throws, and never waits. */
  tell(news: LineNews): void
  /** Tries no more. */
  stop(): void
}

/**
 * Pages that need no store: kept nowhere but in memory, handed straight to the pagers. For the one case that the outbox
 * cannot serve, its own failure. A page that is not known to have been taken goes out again under the same key.
 */
export function watchPages(deps: WatchPagesDependencies): WatchPages {
  const { clinic, clock, random, onFault } = deps
  const waits = new Set<() => void>()
  let stopped = false

  function tell(news: LineNews): void {
    const id = `line-${news}.${random.hex(8)}`
    const to = everyoneAt(clinic(), clock.now())
    const sends = to.flatMap(who =>
      addressesOf(clinic(), who).map(({ pager, address }, position) =>
        carry(pager, page(news, `${id}.${who}.${position}`, who, address)),
      ),
    )
    void Promise.all(sends).then(taken => {
      if (!stopped && !taken.includes(true)) onFault({ code: 'line-unheard', why: news })
    })
  }

  function page(news: LineNews, key: string, who: string, address: string): Page {
    const link = deps.link()
    return {
      key,
      caseId: '',
      code: '',
      to: { id: who, name: reachableOf(clinic(), who)?.name ?? who },
      address,
      text: deps.fitPage(deps.textOf(news), link),
      link,
      urgency: news === 'back' ? 'speak' : 'ambulance',
      kind: news === 'back' ? 'update' : news === 'down' ? 'page' : 'repeat',
      at: clock.now(),
      repeated: false,
    }
  }

  /** Whether the address took it. */
  async function carry(pagerId: string, first: Page): Promise<boolean> {
    let mayHaveArrived = false
    for (const wait of TRIES_AFTER) {
      if (wait > 0) await rest(wait)
      if (stopped) return false
      const paged = await once(pagerId, { ...first, repeated: mayHaveArrived })
      if (paged.kind === 'accepted') return true
      mayHaveArrived ||= paged.kind === 'unknown'
      if (paged.kind === 'refused') break
    }
    return mayHaveArrived
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
    tell,
    stop() {
      stopped = true
      for (const end of [...waits]) end()
    },
  }
}
