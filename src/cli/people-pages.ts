/** The pages of the clinic's own people, put together from the running bot. */
import type { ReadSignedIn } from '../accounts/signed-in.ts'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { type Console, type ConsoleBase, consolePages } from '../http/console/console.ts'
import type { FlowsPorts } from '../http/console/flows-routes.ts'
import type { Clock, Random } from '../runtime/clock.ts'
import type { Runtime } from '../runtime/runtime.ts'
import type { Store } from '../store/store.ts'
import { type Again, remembering } from './again.ts'
import { approvalSide } from './approval-side.ts'
import type { BotAccounts } from './bot-accounts.ts'
import { calendarDrafts } from './calendar-drafts.ts'
import type { CalendarFeeds } from './calendar-feeds.ts'
import type { ChangingLine } from './changing-line.ts'
import { demonstrationPerson, nowSide } from './console-side.ts'
import { type ConversationsSide, conversationsSide, playInProcess } from './conversations-side.ts'
import type { DataFolder } from './data-folder.ts'
import { dayWatch } from './day-watch.ts'
import type { DeskFile } from './desk-file.ts'
import { flowsView } from './flows-view.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { onCallSide } from './on-call-side.ts'
import { pageToken } from './page-link.ts'
import { phoneWatch } from './phone-watch.ts'
import { reviewsOfBot } from './reviews-of-bot.ts'
import { testCallouts } from './test-callouts.ts'
import { trailSide } from './trail-side.ts'

export interface PeoplePagesOptions {
  readonly page: Omit<ConsoleBase, 'signedIn' | 'refused'>
  /** Where the clinic's file lies; left out: the demonstration's. */
  readonly clinicDir: string | undefined
  readonly changing: ChangingLine
  /** The line as it is served now, speaking to the clinic's people. */
  readonly line: () => Line
  readonly lineOf: (state: string) => Line
  readonly runtime: Runtime
  readonly desk: DeskFile
  readonly data: Pick<DataFolder, 'key' | 'testCalloutsFile' | 'reviewsFile' | 'calendarDraftsFolder'>
  /** Live calendars of the rota, as this process knows them. */
  readonly feeds: () => CalendarFeeds | undefined
  readonly clock: Clock
  readonly random: Random
  readonly store: Pick<Store, 'load' | 'recentHeads' | 'heads' | 'history'>
  readonly wordsIn: (language: string) => Wording
  readonly origin: () => string
  readonly doubts: () => Promise<readonly string[]>
  /** Who is signed in; undefined where nobody can. */
  readonly signedIn: ReadSignedIn | undefined
  readonly members: () => BotAccounts | undefined
  readonly again: Again | undefined
  readonly onFault: (error: unknown) => void
}

export interface PeoplePages {
  readonly pages: Console
  /** A test call-out by this way did not get to the telephone; `key` as its page carried it. */
  testLost(key: string, pager: string): void
  /** Has a case reviewed, because a clinician asks for it. False where no trail is kept that would say who asked. */
  flag(caseId: string, by: string): Promise<boolean>
  start(): void
  stop(): void
}

export function peoplePages(options: PeoplePagesOptions): PeoplePages {
  const { page, changing, line, lineOf, runtime, desk, data, clock, origin, members, onFault } = options
  const { now, wording } = page
  const shared = { line, lineOf, runtime, desk, now, wording, key: data.key }
  const callouts = testCallouts(data.testCalloutsFile, onFault)
  const phones = phoneWatch({
    ...{ clock, now, line, desk, callouts, wording, onFault },
    tellPeople: told => runtime.tellPeople(told),
    calloutLink: (id, to) => `${origin()}/p/test/${pageToken(data.key, { caseId: id, to, at: now() })}`,
    onCallLink: () => `${origin()}/on-call`,
  })
  const doubts = async () => [...(await options.doubts()), ...phones.doubts()]
  const tonight = nowSide({ ...shared, doubts, wordsIn: options.wordsIn })
  const day = dayWatch({
    ...{ clock, now, line, desk, wording, onFault },
    sources: tonight.sources,
    tellPeople: told => runtime.tellPeople(told),
    link: () => `${origin()}/now`,
  })
  const reviews = reviewsOfBot({
    ...{ clinicDir: options.clinicDir ?? DEMO_CLINIC, changing, store: options.store, data, random: options.random },
    ...{ clock, now, wording, onFault, trail: () => members()?.store },
  })
  const play = playInProcess({ clinicDir: options.clinicDir ?? DEMO_CLINIC })
  const conversations = conversationsSide(play, onFault)
  const pages = consolePages({
    ...page,
    signedIn: async request =>
      (await options.signedIn?.(request)) ?? (page.demonstration ? demonstrationPerson(line(), now()) : undefined),
    async refused(who, action) {
      await members()?.store.change({ at: now(), who: who.personId, did: 'refused', on: action }, [])
    },
    tonight,
    flows: flowsSide(options, conversations),
    reviews: reviews.ports,
    trail: trailSide({ ...{ line, now, wording }, store: () => members()?.store }),
    onCall: onCallSide({
      ...{ ...shared, clinicDir: options.clinicDir ?? DEMO_CLINIC, changing, origin, onFault },
      ...{ callouts, phones, feeds: options.feeds, calendars: () => changing.current().calendars },
      drafts: calendarDrafts(data.calendarDraftsFolder, options.random),
      onCallLink: () => `${origin()}/on-call`,
    }),
  })
  return {
    pages,
    testLost(key, pager) {
      const test = callouts.of(/^test\.([0-9a-f]{32})\b/.exec(key)?.[1] ?? '')
      if (test !== undefined) callouts.keep({ ...test, lost: [...(test.lost ?? []), pager] })
    },
    flag: reviews.flag,
    start() {
      day.start()
      phones.start()
      reviews.start()
    },
    stop() {
      day.stop()
      phones.stop()
      conversations.stop()
      void reviews.stop().catch(onFault)
    },
  }
}

/** What lies in the clinic's folder, its approvals, and approving through the desk of the command. */
function flowsSide(
  { page, clinicDir = DEMO_CLINIC, changing, clock, members, again }: PeoplePagesOptions,
  conversations: ConversationsSide,
): FlowsPorts {
  const { now, wording } = page
  const approving = approvalSide({ ...{ clinicDir, changing, clock, now, wording }, trail: () => members()?.store })
  const view = flowsView({
    ...{ clinicDir, now, wording, again: again ?? remembering(), newsOf: approving.newsOf, conversations },
    served: () => changing.current(),
  })
  return { ...view, ...approving }
}
