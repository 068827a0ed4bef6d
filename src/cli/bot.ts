/** The whole bot, put together from its parts: one place that names every adapter. */

import { type Line, languagesOf, lineIn, staffLine } from '../case/line.ts'
import type { ChatRef } from '../case/message.ts'
import { clockOf, clockSaidOf } from '../case/values.ts'
import type { Channel } from '../channels/channel.ts'
import { type SmsChannel, smsChannel } from '../channels/sms/sms.ts'
import { fallbackPage } from '../channels/web-notice.ts'
import type { FamilyFoot, Wording } from '../channels/web-page.ts'
import type { FamilyLog, Spoken } from '../channels/webchat/family-log.ts'
import { webchat } from '../channels/webchat/webchat.ts'
import { ACCOUNT_PATHS } from '../http/account-pages.ts'
import { signedInReader } from '../http/account-ports.ts'
import type { ActedBy, ClinicianAction } from '../http/action.ts'
import { clinicianPages } from '../http/clinician-pages.ts'
import { type Mounted, type Server, serveHttp } from '../http/server.ts'
import { isPagedBy } from '../oncall/clinic.ts'
import { fitPageText } from '../pagers/page-text.ts'
import { type Clock, type Random, steadyClock } from '../runtime/clock.ts'
import { type Edition, editions } from '../runtime/editions.ts'
import { lineMachine } from '../runtime/line-machine.ts'
import { lineUnderstanding } from '../runtime/line-understanding.ts'
import { errorFields, faultFields, type Log } from '../runtime/log.ts'
import type { Machine } from '../runtime/machine.ts'
import { createRuntime, type Runtime } from '../runtime/runtime.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Doubt, Health } from '../runtime/watch-health.ts'
import { QUEUED_MAX } from '../runtime/worker.ts'
import type { Centre } from '../sms/centre.ts'
import type { PhotoContent } from '../store/photo-folder.ts'
import type { Store, StoredCase } from '../store/store.ts'
import type { Wire } from '../telegram/connection.ts'
import type { Instant } from '../time/instant.ts'
import { withOnePeriod } from '../time/local-time.ts'
import { readDate, readDuration, readMoment } from '../time/phrases.ts'
import { languageOf } from '../understand/language.ts'
import type { Again } from './again.ts'
import { approvalsIn } from './approvals-folder.ts'
import { boardView, doubtSentences } from './board-view.ts'
import { type BotAccounts, openAccounts } from './bot-accounts.ts'
import { type BotPagers, clinicPagers, demoPagers, pagesBySms } from './bot-pagers.ts'
import { type ChangingLine, placeOf, standingLine } from './changing-line.ts'
import { act } from './clinician-acts.ts'
import { deskNow } from './console-side.ts'
import { type DataFolder, openDataFolder } from './data-folder.ts'
import { deskFile } from './desk-file.ts'
import { keepEdition } from './edition-archive.ts'
import { familyNotice } from './family-notice.ts'
import { familyPages, footOf, nameOfLanguage } from './family-pages.ts'
import { caseShown, familyLogOf } from './family-view.ts'
import { flowShelf } from './flow-shelf.ts'
import { whenLeading } from './lead.ts'
import { DEMO_CLINIC, drawingOf, type LoadedLine } from './load-line.ts'
import { openToken, pageToken } from './page-link.ts'
import { type PeoplePages, peoplePages } from './people-pages.ts'
import { photoSending } from './photo-sending.ts'
import { retention } from './retention.ts'
import { rotaWatch } from './rota-watch.ts'
import { openSealedData } from './sealed-data.ts'
import { answerToPage, isOfClinic, numberLine, smsToOthers } from './sms-answers.ts'
import { storedView } from './stored-view.ts'

export interface BotOptions {
  readonly loaded: LoadedLine
  /** Where the clinic's file lies, for pages that change it; left out: the demonstration's. */
  readonly clinicDir?: string
  /** What was read at the start stands in memory: pages that read the folder anew use it. */
  readonly again?: Again
  /** Left out: nobody changes the line while it runs. */
  readonly changing?: ChangingLine
  readonly dataDir: string
  readonly clock: Clock
  readonly random: Random
  readonly log: Log
  /** Where clinicians' links lead; known once the server listens. */
  readonly origin: () => string
  /** Scheme and host as families and clinicians see them behind a proxy; absent: taken from each request. */
  readonly publicOrigin?: string
  /** Channels beside the web chat (the terminal). */
  readonly channels?: readonly Channel[]
  /** In place of the machine of the loaded flows: for tests that show the bot runs on it. */
  readonly machine?: Machine
  /** Stands between the bot and its store: for tests of a store that fails. */
  readonly through?: (store: Store) => Store
  /** The loops stand for good: the process must end with an error, so that another one begins. */
  readonly onStanding?: () => void
  /** Messages that may wait; one more is turned away with 503. Default {@link QUEUED_MAX}. */
  readonly queuedMax?: number
  /** In place of the clinic's own pagers. */
  readonly pagers?: BotPagers
  /** In place of the network to Telegram: for measurements. */
  readonly wire?: Wire
  /**
   * It joins the processes that share the clinic's Redis, and acts for some of its families. Left out: cases lie in the data
   * folder, whatever the clinic's file names; a conversation to try something out must take nobody's case.
   */
  readonly joinsLine?: boolean
  /** The data folder is thrown away afterwards: its keys are made, as in a demonstration. */
  readonly isThrowaway?: boolean
}

export interface Bot {
  readonly runtime: Runtime
  readonly store: Store
  readonly pagers: BotPagers
  readonly data: DataFolder
  readonly words: Wording
  /** The words of pages and of the clinic's side. */
  readonly staffWords: Wording
  readonly foot: () => FamilyFoot
  /** What families' channels say around the replies, in one of the line's languages; absent: the first. */
  readonly spoken: (language?: string) => Spoken
  serve(port: number, host?: string): Promise<Server>
  addChannel(channel: Channel): void
  /** Begins to hear what comes by Telegram, where the clinic has it. After the runtime has started. */
  hear(): void
  stop(): Promise<void>
}

export async function openBot(options: BotOptions): Promise<Bot> {
  const { loaded, random, log } = options
  const changing = options.changing ?? standingLine(loaded)
  // One clock for all that is read, shown and waited for: a message is never made before the case it is about.
  const clock = steadyClock(options.clock)
  const { line: first } = loaded
  const data = openDataFolder(options.dataDir, random)
  const storeFault = (error: unknown, caseId?: string) =>
    log({ what: 'store-failed', ...(caseId === undefined ? {} : { caseId }), ...errorFields(error) })
  const { store: sealed, photos } = await openSealedData({
    data,
    store: options.joinsLine === true ? loaded.store : undefined,
    mode: first.clinic.demonstration || options.isThrowaway === true ? 'demonstration' : 'clinic',
    isServing: true,
    onUnreadable: ({ caseId, error }) => storeFault(error, caseId),
    onFault: error => storeFault(error),
  })
  const store = options.through?.(sealed) ?? sealed
  const keeping = retention({
    store: sealed,
    clock,
    keep: () => changing.current().retention,
    onPurged: count => log({ what: 'cases-purged', count }),
    onFault: error => storeFault(error),
  })
  const queuedMax = options.queuedMax ?? QUEUED_MAX
  const now = () => clock.now()
  const secret = `whsec_${data.key.toString('base64')}`
  const pagers =
    options.pagers ??
    (first.clinic.demonstration
      ? await demoPagers(
          now,
          secret,
          loaded.pagers,
          pagesBySms(first.clinic) ? { wording: () => staffWords } : undefined,
        )
      : await clinicPagers(loaded.pagers, now, () => staffWords, { file: data.smsReceiptsFile, onFault: storeFault }))
  const telegram = await telegramFrom(loaded, { data, clock, wording: () => staffWords, log, wire: options.wire })
  const pagerOf = (id: string) => (id === telegram?.bot.pager.id ? telegram.bot.pager : pagers.of(id))
  const channels = new Map((options.channels ?? []).map(channel => [channel.id, channel]))
  const wordsIn =
    (language: string): Wording =>
    (id, values) => {
      const { screens, line } = changing.current()
      const screen = screens.get(language) ?? screens.get(line.language)
      if (screen === undefined) throw new Error(`no screen words in "${language}"`)
      return withOnePeriod(screen.text(id, values as never))
    }
  const words = wordsIn(first.language)
  const staff = () => staffLine(changing.current().line)
  const staffWords = wordsIn(staff().language)
  const editionOf = (served: LoadedLine, machine = lineMachine(served.line)): Edition => ({
    line: served.line,
    machine,
    understand: lineUnderstanding(served.line, {
      lexicons: served.lexicons,
      languageOf: text => languageOf(text, served.languages),
      defaultRegion: regionOf(served.line.clinic.numbers.familiesRing.number),
      times: { readMoment, readDate, readDuration },
    }),
  })
  const shelf = flowShelf({ loaded: undefined, data: options.dataDir })
  // Where processes share the line they are renewed one after the other, under cases that are open: these keep their flow.
  const archived = (concern: string, flowHash: string): Edition | undefined => {
    const found = shelf.of(concern, flowHash)
    const now = changing.current()
    return found === undefined ? undefined : editionOf({ ...now, line: withFlows(now.line, found.set, found.hashes) })
  }
  const served = editions(editionOf(loaded, options.machine), store.sharing === undefined ? undefined : archived)
  changing.onTaken(next =>
    served.take(editionOf(next), ({ flows, hashes }) =>
      editionOf({ ...next, line: withFlows(next.line, flows, hashes) }),
    ),
  )
  // A night that is thrown away is never replayed. A disk that refuses costs a replay, and no family its answer.
  const noted = (next: LoadedLine) => {
    if (options.isThrowaway === true) return
    try {
      keepEdition(options.dataDir, next, clock.now())
    } catch (error) {
      storeFault(error)
    }
  }
  noted(loaded)
  changing.onTaken(next => noted(next))
  const line = () => changing.current().line
  const rota = rotaWatch({
    ...(options.clinicDir === undefined ? {} : { clinicDir: options.clinicDir }),
    line: staff,
    calendars: () => changing.current().calendars,
    clock,
    random,
    pagerOf,
    wording: staffWords,
    link: () => `${options.origin()}/on-call`,
    toldFile: data.coverToldFile,
    log,
    onFault: fault => log(faultFields(fault)),
  })
  const runtime = createRuntime({
    store,
    machine: served.machine,
    clinic: () => line().clinic,
    clock,
    random,
    hash: sha256,
    understand: served.understand,
    channelOf: id => channels.get(id),
    pagerOf,
    fitPage: (pieces, link) => fitPageText(pieces, link),
    pageLink: ({ caseId, to, at }) => `${options.origin()}/p/${pageToken(data.key, { caseId, to, at })}`,
    healthLink: () => `${options.origin()}/health`,
    onFault: fault => log(faultFields(fault)),
    ...(options.onStanding === undefined ? {} : { onStanding: options.onStanding }),
    lastAlive: data.lastAlive,
    askedAgainAfter: first.settings['asked-again-after'],
    doubts: () => [...lineDoubts(changing), ...rota.doubts(), ...(joined?.doubts() ?? [])],
    queuedMax,
  })
  const desk = deskFile(data.deskFile, error => storeFault(error))
  const spokenIn = (language = first.language): Spoken => ({
    ...familyPages(() => lineIn(line(), language), wordsIn(language), now),
    lineNotice: () => familyNotice(deskNow(desk, now()).notice, lineIn(line(), language), wordsIn(language), now()),
  })
  const { foot } = spokenIn()
  const pressed = (caseId: string, by: ActedBy, action: ClinicianAction) =>
    act(
      {
        lineOf: served.lineOf,
        store: runtime.reads,
        runtime,
        wording: staffWords,
        flag: async (id, who) => (await people?.flag(id, who)) === true,
      },
      caseId,
      by,
      action,
    )
  const familyTexts = pagers.sms?.takesFamilies === true ? familySms(pagers.sms.centre) : undefined
  if (familyTexts !== undefined) channels.set(familyTexts.id, familyTexts)
  pagers.sms?.answerWith(async (from, text) => {
    if (!isOfClinic(line().clinic, from) && familyTexts !== undefined && /^\+\d{7,15}$/.test(from))
      return familyTexts.take(from, text).then(() => undefined)
    return answerToPage(
      {
        ...{ line, lineOf: served.lineOf, store: runtime.reads, wording: staffWords, now },
        act: pressed,
        desk: () => numberLine(footOf(staff(), staffWords).clinic),
        toOthers: () => smsToOthers(line(), wordsIn(line().language), foot(), options.origin()),
      },
      from,
      text,
    )
  })
  pagers.sms?.receiptsTo(async (page, outcome) => {
    if (outcome === 'delivered') return
    if (page.caseId !== '') await runtime.pageLost(page.caseId, page.key)
    else people?.testLost(page.key, 'sms')
  })
  const joined =
    telegram === undefined
      ? undefined
      : telegram.side.joinTelegram(telegram.bot, {
          ...{
            loaded,
            runtime,
            store,
            clock,
            line,
            lineOf: served.lineOf,
            spoken: spokenIn,
            wordsIn,
            staffWords,
            act: pressed,
          },
          origin: options.origin,
          end: options.onStanding ?? (() => undefined),
        })
  if (joined !== undefined) channels.set(joined.channel.id, joined.channel)
  const sending = photoSending({ photos, allowed: () => changing.current().photos, lineOf: cases => lineOfChat(cases) })
  let chat: ReturnType<typeof webchat> | undefined
  let members: BotAccounts | undefined
  let people: PeoplePages | undefined
  /** Ends of what waits until this process leads the line. */
  const waits: (() => void)[] = []
  /** Chats whose replies are waited for. */
  const looking = new Set<string>()

  async function serve(port: number, host?: string): Promise<Server> {
    const clockText = (at: ReturnType<typeof now>) => clockOf(staff(), at)
    chat = webchat({
      ...spokenIn(),
      languages: languagesOf(first).map(tag => ({ tag, name: nameOfLanguage(tag) })),
      inLanguage: spokenIn,
      deskLanguage: staff().language,
      receive: async incoming => {
        await runtime.receive(incoming)
        await rendered(incoming)
      },
      log: familyLog,
      keepPhoto,
      randomId: () => random.hex(16),
      drawing: drawingOf,
      demonstration: first.clinic.demonstration,
      ...(options.publicOrigin === undefined ? {} : { origin: options.publicOrigin }),
    })
    channels.set(chat.id, chat)
    const doubtsSaid = async () => [
      ...doubtSentences(staff(), (await runtime.health()).doubts, changing.notTaken(), staffWords),
      ...(pagers.sms?.lost() ?? []).map(({ name, at }) =>
        staffWords('doubt-text-lost', { name, now: clockSaidOf(staff(), at) }),
      ),
    ]
    members = membersOf()
    const clinicSide = {
      now,
      clockText,
      randomId: () => random.hex(16),
      wording: staffWords,
      desk: () => footOf(staff(), staffWords).clinic,
      demonstration: first.clinic.demonstration,
      language: staff().language,
      ...(options.publicOrigin === undefined ? {} : { origin: options.publicOrigin }),
    }
    const reader = members === undefined ? undefined : signedInReader(members.accounts, clinicSide)
    people = peoplePages({
      ...{ page: clinicSide, clinicDir: options.clinicDir, changing, line: staff, lineOf: served.lineOf, runtime },
      ...{
        feeds: () => rota.feeds,
        desk,
        data,
        clock,
        wordsIn,
        origin: options.origin,
        doubts: doubtsSaid,
        signedIn: reader,
      },
      ...{
        members: () => members,
        again: options.again,
        onFault: (error: unknown) => storeFault(error),
        store,
        random,
      },
    })
    const pages = clinicianPages({
      ...clinicSide,
      ...(reader === undefined ? {} : { signedIn: reader }),
      photos,
      case: async caseId => {
        const stored = await runtime.reads.load(caseId)
        return stored === undefined
          ? undefined
          : storedView(served.lineOf(stored.state), stored, await runtime.logOfCase(caseId), now())
      },
      openByToken: async token => openToken(data.key, token, line().clinic, now()),
      act: pressed,
      board: async () => {
        const doubts = await doubtsSaid()
        return boardView({
          ...{ line: staff(), lineOf: served.lineOf, store: runtime.reads, pagers, doubts },
          at: now(),
          wording: staffWords,
        })
      },
      quickLines: () => listed(staff(), 'quick').map(({ id, label }) => ({ id, text: label })),
      outcomes: () => listed(staff(), 'outcome'),
    })
    const accountMounts =
      members === undefined
        ? []
        : mountsOf(
            members.pages({ ...clinicSide, ...telegramLinks(), signingKey: data.key, hospital: loaded.signIn }),
            ACCOUNT_PATHS,
          )
    const fallbackNow = () =>
      fallbackPage({
        spoken: languagesOf(first).map(language => ({ language, wording: wordsIn(language) })),
        demonstration: first.clinic.demonstration,
        foot: foot(),
      })
    let fallback = await fallbackNow()
    changing.onTaken(() => void fallbackNow().then(made => (fallback = made)))
    keeping.start()
    people.start()
    waits.push(whenLeading(store.sharing, clock, () => rota.start()))
    return serveHttp({
      family: chat,
      mounts: [
        ...mountsOf(pages, ['/p/', '/board']),
        ...mountsOf(people.pages, people.pages.paths),
        ...accountMounts,
        ...(joined?.mount === undefined ? [] : [joined.mount]),
      ],
      health: async () => healthText(await runtime.health()),
      busySeconds: () => (runtime.figures().queued > queuedMax ? 5 : undefined),
      get fallback() {
        return fallback
      },
      onFault: ({ name, where }) => log({ what: 'http-fault', error: name, place: where }),
      port,
      ...(host === undefined ? {} : { host }),
    })
  }

  const telegramLinks = () =>
    telegram === undefined
      ? {}
      : {
          telegram: telegram.bot.links(
            id => isPagedBy(line().clinic, id, 'telegram'),
            count => random.bytes(count),
          ),
        }

  /** Accounts of the clinic's people. A file of theirs that cannot be used keeps them out, and no family. */
  function membersOf(): BotAccounts | undefined {
    try {
      const opened = openAccounts({
        file: data.accountsFile,
        clinic: () => line().clinic,
        content: () => {
          const approvals = approvalsIn(options.clinicDir ?? DEMO_CLINIC)
          return sha256(JSON.stringify([line().clinic, [...(line().hashes ?? [])], approvals]))
        },
        approvals: () => approvalsIn(options.clinicDir ?? DEMO_CLINIC),
        clock,
        random,
      })
      const noted = (who?: string) => void opened.clinicRead(who).catch(storeFault)
      noted()
      changing.onTaken((_loaded, who) => noted(who))
      return opened
    } catch (error) {
      storeFault(error)
      return undefined
    }
  }

  async function familyLog(ref: ChatRef): Promise<FamilyLog> {
    const cases = await runtime.reads.casesOf(ref)
    const shown = familyLogOf(lineOfChat(cases), cases, await runtime.logOf(ref), now())
    const photosLeft = await sending.left(cases)
    return photosLeft === 0 ? shown : { ...shown, photosLeft }
  }

  async function keepPhoto(ref: ChatRef, photo: PhotoContent): Promise<string | undefined> {
    return sending.keep(await runtime.reads.casesOf(ref), photo, now())
  }

  function familySms(centre: Pick<Centre, 'send'>): SmsChannel {
    return smsChannel({
      centre,
      receive: incoming => runtime.receive(incoming),
      openQuestion: async ref => (await familyLog(ref)).question,
      spoken: language => ({ wording: wordsIn(language ?? first.language), foot: spokenIn(language).foot() }),
      clinicName: () => line().clinic.name,
      now,
      randomId: () => random.hex(16),
    })
  }

  /** The line that the case a chat is about now is read with. */
  const lineOfChat = (cases: readonly StoredCase[]): Line => {
    const about = caseShown(cases)
    return about === undefined ? line() : served.lineOf(about.state)
  }

  /**
   * Waits shortly until the replies to a message stand in the log, so that a page without script shows them at once. Of
   * many messages of one chat at a time only the first waits: a flood must not keep the line busy with looking.
   */
  async function rendered(ref: { channel: string; chat: string }): Promise<void> {
    if (looking.has(ref.chat)) return
    looking.add(ref.chat)
    try {
      for (let tries = 0; tries < 40; tries++) {
        const [latest] = await runtime.reads.casesOf(ref)
        const rows = latest === undefined ? [] : await runtime.reads.outboxOf(latest.caseId)
        if (!rows.some(row => row.lane === 'family' && row.status === 'waiting')) return
        await new Promise<void>(resolve => clock.wake(clock.monotonicMs() + 25, resolve))
      }
    } catch (error) {
      // The message is kept: it must not be said that it was not. The page that comes next says what is wrong.
      storeFault(error)
    } finally {
      looking.delete(ref.chat)
    }
  }

  return {
    runtime,
    store,
    pagers,
    data,
    words,
    staffWords,
    foot,
    spoken: spokenIn,
    serve,
    addChannel: channel => channels.set(channel.id, channel),
    hear: () => waits.push(whenLeading(store.sharing, clock, () => void joined?.start())),
    async stop() {
      for (const end of waits) end()
      await joined?.stop()
      await chat?.stop()
      await keeping.stop()
      people?.stop()
      rota.stop()
      await runtime.stop()
      await pagers.stop()
      await telegram?.bot.pager.stop()
      telegram?.bot.close()
      await members?.close()
      await store.close()
    },
  }
}

/** Telegram's part of the program, loaded only where a clinic's file has it. */
async function telegramFrom(
  { telegram: route }: LoadedLine,
  ports: { data: DataFolder; clock: Clock; wording: () => Wording; log: Log; wire: Wire | undefined },
) {
  if (route === undefined) return undefined
  const side = await import('./telegram-side.ts')
  return { side, bot: side.telegramOf(route, ports) }
}

const mountsOf = (
  pages: { fetch(request: Request): Promise<Response> },
  paths: readonly string[],
): readonly Mounted[] => paths.map(path => ({ path, fetch: request => pages.fetch(request) }))

const withFlows = (line: Line, flows: Line['flows'], hashes: Line['hashes']): Line => ({
  ...line,
  flows,
  ...(hashes === undefined ? {} : { hashes }),
})

/** What is wrong in the clinic's files is told like everything else that keeps the line from being trusted. */
function lineDoubts(changing: ChangingLine): readonly Doubt[] {
  const notTaken = changing.notTaken()
  return notTaken === undefined
    ? []
    : [{ what: 'clinic-file-refused', since: notTaken.since, places: notTaken.refusals.map(placeOf) }]
}

/** Instants as people read them, in UTC. */
function healthText({ doubts, ...health }: Health) {
  const iso = (at: Instant) => new Date(at).toISOString()
  return {
    ...health,
    doubts: doubts.map(({ since, from, until, ...doubt }) => ({
      ...doubt,
      since: iso(since),
      ...(from === undefined ? {} : { from: iso(from) }),
      ...(until === undefined ? {} : { until: iso(until) }),
    })),
  }
}

function listed(line: Line, kind: 'quick' | 'outcome') {
  const wording = line.flows.wording.get(line.language)
  const ids = [...(wording?.ids ?? [])].filter(id => id.startsWith(`${kind}/`)).map(id => id.slice(kind.length + 1))
  return ids.map(id => ({ id, label: wording?.text(`${kind}/${id}`, { clinicName: line.clinic.name }) ?? id }))
}

function regionOf(number: string) {
  return number.startsWith('+44') ? ('GB' as const) : number.startsWith('+61') ? ('AU' as const) : ('US' as const)
}
