import { type Clinic, reachableOf } from '../oncall/clinic.ts'
import type { Page, Pager } from '../pagers/pager.ts'
import { carrier } from './carry.ts'
import type { Clock } from './clock.ts'
import { addressesOf } from './reach.ts'

/** Something that the clinic's people are told about their own work, and no case: a changed night, a test call-out. */
export interface ToPeople {
  /** Ids of people and desks. */
  readonly to: readonly string[]
  /** Pieces of the text, most urgent first; names no family. */
  readonly pieces: readonly string[]
  /** Where the one who is told goes on. */
  readonly link: (who: string) => string
  /** Makes the same telling twice one. */
  readonly key: string
  readonly urgency: Page['urgency']
}

export interface Told {
  readonly who: string
  readonly pager: string
  readonly outcome: 'accepted' | 'unknown' | 'refused'
}

export interface TellPeople {
  /** At every address they have. Resolves when each was taken or given up, after a minute at the latest. Never throws. */
  tell(told: ToPeople): Promise<readonly Told[]>
  stop(): void
}

export function tellPeople(deps: {
  readonly clinic: () => Clinic
  readonly clock: Clock
  readonly pagerOf: (id: string) => Pager | undefined
  readonly fitPage: (pieces: readonly string[], link: string) => string
}): TellPeople {
  const hands = carrier(deps)
  return {
    async tell({ to, pieces, link, key, urgency }) {
      const clinic = deps.clinic()
      const sends = to.flatMap(who =>
        addressesOf(clinic, who).map(async ({ pager, address }, position): Promise<Told> => {
          const page: Page = {
            ...{ key: `${key}.${who}.${position}`, caseId: '', code: '', address, urgency, kind: 'update' },
            to: { id: who, name: reachableOf(clinic, who)?.name ?? who },
            text: deps.fitPage(pieces, link(who)),
            link: link(who),
            at: deps.clock.now(),
            repeated: false,
          }
          return { who, pager, outcome: await hands.carry(pager, page) }
        }),
      )
      return Promise.all(sends)
    },
    stop: () => hands.stop(),
  }
}
