/** What Telegram is given of the rest of the bot. */
import { familyLine, type Line, languagesOf, staffLine } from '../case/line.ts'
import type { ChatRef } from '../case/message.ts'
import type { Wording } from '../channels/web-page.ts'
import type { Spoken } from '../channels/webchat/family-log.ts'
import type { TelegramRoute } from '../config/telegram-section.ts'
import { type Clock, within } from '../runtime/clock.ts'
import { everyoneAt } from '../runtime/reach.ts'
import type { Runtime } from '../runtime/runtime.ts'
import { openTelegramFile } from '../store/sqlite/telegram-file.ts'
import type { Store } from '../store/store.ts'
import { seconds } from '../time/instant.ts'
import { type BotTelegram, type JoinedTelegram, openTelegram, type TelegramOptions } from './bot-telegram.ts'
import type { DataFolder } from './data-folder.ts'
import { footOf, nameOfLanguage } from './family-pages.ts'
import { caseNow, caseShown, changeableOf, controlsOf, familyLogOf, openQuestionsOf } from './family-view.ts'
import type { LoadedLine } from './load-line.ts'
import type { PageAnswerPorts } from './page-answers.ts'
import { numberLine } from './sms-answers.ts'
import { telegramStatusOf } from './telegram-status.ts'

/** The bot on Telegram, before anything is answered: pages can be sent. */
export const telegramOf = (
  route: TelegramRoute,
  { data, ...rest }: { data: DataFolder } & Pick<TelegramOptions, 'clock' | 'wording' | 'log' | 'wire'>,
): BotTelegram => openTelegram({ route, file: openTelegramFile(data.telegramFile), key: data.key, ...rest })

/** A store that has not kept one small thing by then is not well. */
const PROBED_WITHIN_MS = seconds(2)

export interface TelegramSidePorts {
  readonly store: Pick<Store, 'probe'>
  readonly clock: Clock
  readonly loaded: LoadedLine
  readonly runtime: Runtime
  readonly line: () => Line
  readonly lineOf: (state: string) => Line
  readonly spoken: (language?: string) => Spoken
  readonly wordsIn: (language: string) => Wording
  readonly staffWords: Wording
  readonly act: PageAnswerPorts['act']
  readonly origin: () => string
  readonly end: () => void
}

function once<T>(work: () => T): () => T {
  let made: { readonly value: T } | undefined
  return () => {
    made ??= { value: work() }
    return made.value
  }
}

export function joinTelegram(telegram: BotTelegram, ports: TelegramSidePorts): JoinedTelegram {
  const { loaded, runtime, line, lineOf, wordsIn, staffWords, origin, store, clock } = ports
  const now = () => runtime.now()

  /** What few messages ask for is the dear part of a case: worked out when it is asked for. */
  async function chatNow(ref: ChatRef) {
    const cases = await runtime.reads.casesOf(ref)
    const about = caseShown(cases)
    const whole = about === undefined ? line() : lineOf(about.state)
    const state = caseNow(whole, cases)
    const at = now()
    return {
      isOpen: cases.some(({ closed }) => !closed),
      questions: once(() => openQuestionsOf(lineOf, cases, at)),
      controls: state === undefined ? [] : controlsOf(state),
      ...(state === undefined ? {} : { code: state.code, language: familyLine(whole, state).language }),
      changeable: () => (state === undefined ? [] : changeableOf(familyLine(whole, state), state)),
      desk: () => familyLogOf(whole, cases, [], at).desk,
    }
  }

  async function statusOf(caseId: string) {
    const stored = await runtime.reads.load(caseId)
    if (stored === undefined) return undefined
    const foot = (language: string) => ports.spoken(language).foot()
    return telegramStatusOf({ line: lineOf(stored.state), stored, wordsIn, foot, at: now() })
  }

  /** Whoever looks after the family's open cases must know that nothing more reaches it. */
  async function blocked(ref: ChatRef, key: string): Promise<void> {
    for (const { caseId, closed } of await runtime.reads.casesOf(ref))
      if (!closed) await runtime.act(caseId, { kind: 'replyGivenUp', effectId: `${caseId}.gone` }, `${caseId}.${key}`)
  }

  return telegram.join({
    receive: incoming => runtime.receive(incoming),
    ...{ chatNow, statusOf, blocked, origin, spoken: ports.spoken, end: ports.end },
    languages: languagesOf(loaded.line).map(tag => ({ tag, name: nameOfLanguage(tag) })),
    clinicName: () => line().clinic.name,
    dangerSigns: loaded.lexicon.signs.map(({ id }) => id),
    answers: {
      ...{ line, lineOf, store: runtime.reads, wording: staffWords, now, act: ports.act, address: origin },
      desk: () => numberLine(footOf(staffLine(line()), staffWords).clinic),
    },
    tellClinic: (pieces, key) =>
      runtime.tellPeople({
        ...{ to: everyoneAt(line().clinic, now()), pieces, key, urgency: 'speak' },
        link: () => `${origin()}/board`,
      }),
    isStoreWell: () =>
      within(
        clock,
        PROBED_WITHIN_MS,
        Promise.resolve(store.probe?.()).then(
          () => true,
          () => false,
        ),
        false,
      ),
  })
}
