import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { Page, Pager } from '../pagers/pager.ts'
import { carrier } from './carry.ts'
import type { Clock, Random } from './clock.ts'
import type { OnFault } from './fault.ts'
import { addressesOf, everyoneAt } from './reach.ts'

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
  const hands = carrier(deps)
  let stopped = false

  function tell(news: LineNews): void {
    const id = `line-${news}.${random.hex(8)}`
    const to = everyoneAt(clinic(), clock.now())
    const sends = to.flatMap(who =>
      addressesOf(clinic(), who).map(({ pager, address }, position) =>
        hands.carry(pager, page(news, `${id}.${who}.${position}`, who, address)),
      ),
    )
    void Promise.all(sends).then(taken => {
      if (!stopped && taken.every(each => each === 'refused')) onFault({ code: 'line-unheard', why: news })
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

  return {
    tell,
    stop() {
      stopped = true
      hands.stop()
    },
  }
}
