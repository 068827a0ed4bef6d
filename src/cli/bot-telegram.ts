/** Telegram: families, clinicians and pages over one bot. Loaded only where a clinic's file has it. */
import { createHash, createHmac, createSecretKey } from 'node:crypto'
import { readFileSync } from 'node:fs'
import type { ChatRef, Incoming } from '../case/message.ts'
import type { Channel } from '../channels/channel.ts'
import { pictureOf } from '../channels/telegram/pictures.ts'
import { type StatusNow, statusMessages } from '../channels/telegram/status.ts'
import {
  TELEGRAM_CHANNEL,
  type TelegramChannelPorts,
  type TelegramSpoken,
  telegramChannel,
} from '../channels/telegram/telegram.ts'
import type { Wording } from '../channels/web-page.ts'
import type { TelegramRoute } from '../config/telegram-section.ts'
import type { Mounted } from '../http/server.ts'
import type { TelegramLinks } from '../http/telegram-links.ts'
import type { Pager } from '../pagers/pager.ts'
import { telegramPager } from '../pagers/telegram.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Log } from '../runtime/log.ts'
import type { Doubt } from '../runtime/watch-health.ts'
import { sealBytes } from '../store/seal.ts'
import type { TelegramFile } from '../store/sqlite/telegram-file.ts'
import { type Arrived, arrived } from '../telegram/arrived.ts'
import { apiOf, connection, type Wire } from '../telegram/connection.ts'
import { saying } from '../telegram/saying.ts'
import { before, days, hours } from '../time/instant.ts'
import {
  type ClinicianArrived,
  clinicianDid,
  howToAnswerHere,
  isThere,
  linkedWords,
  pageButtons,
  type TelegramAnswerPorts,
} from './telegram-answers.ts'
import { CODE_BYTES, codeIn, hashOfCode, newCodeFor } from './telegram-code.ts'
import { type Hearing, telegramHearing } from './telegram-hearing.ts'

export interface BotTelegram {
  readonly pager: Pager
  /** Accounts of the clinic's people. `isPaged` is asked of the clinic's file as it is now. */
  links(isPaged: TelegramLinks['isPaged'], randomBytes: (count: number) => Uint8Array): TelegramLinks
  /** From now on what arrives is answered. */
  join(ports: JoinPorts): JoinedTelegram
  close(): void
}

export interface JoinedTelegram {
  readonly channel: Channel
  /** Where updates are delivered; none while they are asked for. */
  readonly mount: Mounted | undefined
  start(): void
  stop(): Promise<void>
  doubts(): readonly Doubt[]
}

/** What the rest of the bot gives. */
export interface JoinPorts {
  readonly receive: (incoming: Incoming) => Promise<void>
  readonly chatNow: TelegramChannelPorts['chatNow']
  readonly spoken: (language?: string) => TelegramSpoken
  readonly languages: TelegramChannelPorts['languages']
  readonly clinicName: () => string
  readonly dangerSigns: readonly string[]
  readonly statusOf: (caseId: string) => Promise<StatusNow | undefined>
  readonly answers: Omit<TelegramAnswerPorts, 'sign'>
  /** The family of a chat can no longer be written to: its open cases hear so. `key` makes it count once. */
  readonly blocked: (chat: ChatRef, key: string) => Promise<void>
  /** Tells everybody the ladder comes to now, past the store. */
  readonly tellClinic: (pieces: readonly string[], key: string) => Promise<unknown>
  readonly isStoreWell: () => Promise<boolean>
  /** Scheme and host as families and Telegram see them. */
  readonly origin: () => string
  /** The process cannot go on hearing: it is to end with an error, and be started again. */
  readonly end: () => void
}

export interface TelegramOptions {
  readonly route: TelegramRoute
  readonly file: TelegramFile
  /** The signing key of the data folder. */
  readonly key: Buffer
  readonly clock: Clock
  readonly wording: () => Wording
  readonly log: Log
  /** In place of the network. */
  readonly wire?: Wire | undefined
}

const SIGN_BYTES = 8
/** What could not be read is kept, sealed, for whoever looks into it: no longer than a fortnight, looked at each start. */
const PARKED_KEPT_MS = days(14)
/** The server keeps what was not asked for one day: past this the clinic is told that something may be lost. */
const GAP_MS = hours(23)

export function openTelegram(options: TelegramOptions): BotTelegram {
  const { route, file, clock, wording, log } = options
  const token = readFileSync(route.tokenFile, 'utf8').trim()
  // A key of its own for each use, all from the one of the data folder.
  const keyFor = (use: string): Buffer => createHmac('sha256', options.key).update(`telegram ${use}`).digest()
  // Made of its bytes once: each button is signed, and each press tries all of them.
  const buttonKey = createSecretKey(keyFor('buttons'))
  const sign = (what: string): string =>
    createHmac('sha256', buttonKey).update(what).digest().subarray(0, SIGN_BYTES).toString('base64url')
  const api = apiOf(token, route.server, options.wire)
  const calls = connection({ api, monotonicMs: () => clock.monotonicMs() })
  const botId = token.split(':')[0] ?? ''
  const pager = telegramPager({
    connection: calls,
    chatsOf: personId => file.chatsOf(personId),
    buttonsOf: page => pageButtons(sign, wording(), page),
    howToAnswer: () => howToAnswerHere(wording()),
    repeatLabel: () => wording()('sms-repeat'),
  })

  const sayTo = saying({
    connection: calls,
    clock,
    lost: why => log({ what: 'telegram-not-said', why }),
  })

  function join(ports: JoinPorts): JoinedTelegram {
    const status = statusMessages({
      connection: calls,
      places: {
        of: caseId => file.status(caseId),
        keep: (caseId, place) => file.keepStatus(caseId, place, clock.now()),
        forget: caseId => file.forgetStatus(caseId),
        all: () => file.statusCases(),
      },
      sign,
      statusOf: ports.statusOf,
      clock,
    })
    const families = telegramChannel({
      ...ports,
      connection: calls,
      say: sayTo,
      sign,
      status,
      drawing: pictureOf,
      // Outlives the erasing of a case: nobody can tell from it which chat it was.
      deliveryId: key => `tg.${createHash('sha256').update(`${botId}.${key}`).digest('hex').slice(0, 40)}`,
      now: () => clock.now(),
    })
    const say = (chat: string, text: string): Promise<void> => sayTo(chat, { text })
    const answers: TelegramAnswerPorts = { ...ports.answers, sign }

    async function take(what: Arrived): Promise<void> {
      switch (what.kind) {
        case 'nothing':
          return
        case 'elsewhere':
          return what.isLeft ? undefined : refuseGroup(what.chat)
        case 'blocked':
          return ports.blocked({ channel: TELEGRAM_CHANNEL, chat: what.chat }, what.key)
        default:
          return what.kind === 'start' && codeIn(what.payload) !== undefined ? link(what) : takeFrom(what)
      }
    }

    async function takeFrom(what: ClinicianArrived): Promise<void> {
      const who = file.personOf(what.chat)
      if (who !== undefined && isThere(answers, who)) {
        const words = await clinicianDid(answers, who, what)
        if (what.kind === 'press') void calls.answerPress(what.pressId)
        return say(what.chat, words)
      }
      if (route.takesFamilies) return families.take(what)
      const { wording: words, foot } = ports.spoken(what.language)
      const { emergency, clinic } = foot()
      const line = ({ label, number, shown = number }: typeof clinic) => `${label}: ${shown}`
      return say(
        what.chat,
        words('telegram-no-families', {
          ...{ clinicName: ports.clinicName(), emergency: line(emergency), clinic: line(clinic) },
          address: ports.origin(),
        }),
      )
    }

    /** A code links the account it was sent from, once. */
    async function link({ payload, chat }: ClinicianArrived & { kind: 'start' }): Promise<void> {
      const code = codeIn(payload)
      const linkedBefore = file.personOf(chat)
      const who = code === undefined ? undefined : file.redeem(hashOfCode(code), chat, clock.now())
      if (who !== undefined) log({ what: 'telegram-linked' })
      // Brought a second time by Telegram, the code is used up by the first.
      const linked = who ?? (linkedBefore !== undefined && isThere(answers, linkedBefore) ? linkedBefore : undefined)
      return say(chat, linked === undefined ? answers.wording('telegram-code-unknown') : linkedWords(answers, linked))
    }

    async function refuseGroup(chat: string): Promise<void> {
      const { wording: words, foot } = ports.spoken()
      const { emergency, clinic } = foot()
      const name = file.known('username')
      const address = name === undefined ? '' : `: https://t.me/${name}`
      const numbers = [emergency, clinic].map(({ label, number, shown = number }) => `${label}: ${shown}`)
      await calls.send(chat, { text: [words('telegram-groups', { address }), ...numbers].join('\n') })
      await calls.leave(chat)
    }

    const hearing: Hearing = telegramHearing({
      ...{ route, api, clock, ports, file, log },
      secret: keyFor('webhook').toString('hex'),
      commands: commandsIn(ports),
      take: update => take(arrived(update)),
      park(update) {
        const sealed = sealBytes(
          keyFor('parked'),
          ['telegram-update', update.update_id],
          Buffer.from(JSON.stringify(update)),
        )
        file.park(update.update_id, sealed, clock.now())
        log({ what: 'telegram-update-parked' })
        void ports.tellClinic([wording()('telegram-notice-parked')], `telegram.parked.${update.update_id}`)
      },
      notice: what => ports.tellClinic([wording()(`telegram-notice-${what}`)], `telegram.${what}.${clock.now()}`),
    })

    return {
      channel: families,
      mount: hearing.mount,
      start() {
        const lastHeard = Number(file.known('heard-at') ?? clock.now())
        if (clock.now() - lastHeard > GAP_MS)
          void ports.tellClinic([wording()('telegram-notice-gap')], `telegram.gap.${lastHeard}`)
        file.forgetParked(before(clock.now(), PARKED_KEPT_MS))
        status.start()
        hearing.start()
      },
      async stop() {
        status.stop()
        await hearing.stop()
      },
      doubts() {
        const { trouble } = hearing
        return trouble === undefined ? [] : [{ what: 'telegram-silent', since: trouble.since }]
      },
    }
  }

  const links: BotTelegram['links'] = (isPaged, randomBytes) => ({
    isPaged,
    linked: personId => file.chatsOf(personId).length,
    newCode: personId => newCodeFor(file, personId, clock.now(), randomBytes(CODE_BYTES)),
    unlink: personId => file.unlink(personId),
  })

  return { pager, links, join, close: () => file.close() }
}

/** The commands a telephone offers, for each language of the line. */
const commandsIn = ({ languages, spoken }: JoinPorts) =>
  languages.map(({ tag }) => {
    const { wording } = spoken(tag)
    return {
      language: tag,
      commands: (['start', 'person', 'change', 'desk', 'language'] as const).map(command => ({
        command,
        description: wording(`telegram-command-${command}`),
      })),
    }
  })
