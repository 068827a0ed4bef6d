/** What the pages of the clinic's own people need, from the bot that runs. */
import { ROLES } from '../accounts/authority.ts'
import type { SignedIn } from '../accounts/signed-in.ts'
import { type Line, languagesOf, lineIn } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import type { NowPorts } from '../http/console/now-routes.ts'
import { rungsAt } from '../oncall/ladder.ts'
import type { Runtime } from '../runtime/runtime.ts'
import { before, days, type Instant } from '../time/instant.ts'
import type { DeskFile } from './desk-file.ts'
import { familyNotice } from './family-notice.ts'
import { type NowSources, nightOf, nowView, tonightSheet, untakenOf } from './now-view.ts'
import { clinicianOf, pageToken } from './page-link.ts'

/** What was said of a night is kept until the night is long over; figures of months are made from transcripts. */
const JUDGED_KEPT_MS = days(14)

export interface ConsoleSideOptions {
  /** The line as it is served now, speaking to the clinic's people. */
  readonly line: () => Line
  readonly lineOf: (state: string) => Line
  readonly runtime: Pick<Runtime, 'reads' | 'act'>
  readonly doubts: () => Promise<readonly string[]>
  readonly desk: DeskFile
  /** Signs the links of cases. */
  readonly key: Buffer
  readonly now: () => Instant
  /** Words of the screens, of the clinic's people and by language. */
  readonly wording: Wording
  readonly wordsIn: (language: string) => Wording
}

export function nowSide(options: ConsoleSideOptions): NowPorts & { readonly sources: () => Promise<NowSources> } {
  const { line, lineOf, runtime, desk, now, wording } = options
  const sources = async () => ({
    ...{ line: line(), lineOf, store: runtime.reads, wording, at: now() },
    doubts: await options.doubts(),
    desk: deskNow(desk, now()),
  })
  return {
    sources,
    view: async () => nowView(await sources()),
    async casePath({ personId }, caseId) {
      const stored = /^[0-9a-f]{32}$/.test(caseId) ? await runtime.reads.load(caseId) : undefined
      return stored === undefined ? undefined : `/p/${pageToken(options.key, { caseId, to: personId, at: now() })}`
    },
    async giveForDay({ personId, name }, caseId, to, key) {
      const { clinic } = line()
      const taker = clinicianOf(clinic, to)
      if (taker === undefined) return 'nobody'
      const by = clinicianOf(clinic, personId) ?? { id: personId, name, role: '' }
      const done = await runtime.act(caseId, { kind: 'dayTaken', by, taker }, `${caseId}.day.${key}`)
      return done.kind === 'done' || done.kind === 'duplicate' ? 'done' : 'nothing'
    },
    judge(caseId, isWorth) {
      const kept = Object.entries(desk.read().judged ?? {}).filter(([, { at }]) => at > before(now(), JUDGED_KEPT_MS))
      desk.change({ judged: { ...Object.fromEntries(kept), [caseId]: { isWorth, at: now() } } })
    },
    async signOver({ name }) {
      const looked = await sources()
      const untaken = await untakenOf(looked)
      const night = nightOf(looked.line, looked.at).from
      if (untaken.length === 0) desk.change({ signedOver: { night, at: looked.at, by: name } })
      return untaken
    },
    sheet: async () => tonightSheet(await sources()),
    notice: () => deskNow(desk, now()).notice,
    setNotice: async (_who, notice) => desk.change({ notice }),
    noticeShown: notice =>
      languagesOf(line()).map(language =>
        familyNotice(notice, lineIn(line(), language), options.wordsIn(language), now()).join(' '),
      ),
  }
}

/** A notice ends by itself. */
export function deskNow(desk: DeskFile, at: Instant): ReturnType<DeskFile['read']> {
  const { notice, ...rest } = desk.read()
  return notice === undefined || (notice.until !== undefined && notice.until <= at) ? rest : { notice, ...rest }
}

/** In a demonstration whoever looks stands in for the person who is paged first, and may do everything. */
export function demonstrationPerson(line: Line, at: Instant): SignedIn {
  const first = rungsAt(line.clinic, at).find(({ kind }) => kind === 'person') ?? line.clinic.people[0]
  return {
    personId: first?.id ?? 'nobody',
    name: first?.name ?? line.clinic.name,
    roles: ROLES,
    isOnCall: true,
    sessionId: 'demonstration',
    how: 'demonstration',
  }
}
