import type { ChatRef, Incoming, Outgoing, Part } from '../../case/message.ts'
import type { Arrived } from '../../telegram/arrived.ts'
import type { Connection, ToSend } from '../../telegram/connection.ts'
import type { Say } from '../../telegram/saying.ts'
import type { Instant } from '../../time/instant.ts'
import type { Channel, Delivery } from '../channel.ts'
import type { FamilyFoot, Wording } from '../web-page.ts'
import { type ChatButtons, chatButtons, type Known, type Press, type Sign, serialIn, tickedIn } from './buttons.ts'
import { type ChatNow, CONCERN_SERIAL, concernsAsked, menuOf, welcomeOf } from './menus.ts'
import { type Piece, partedAtLines, piecesOf } from './pieces.ts'
import type { StatusMessages } from './status.ts'

export const TELEGRAM_CHANNEL = 'telegram'

/** Words around a family's messages, in one language. */
export interface TelegramSpoken {
  readonly wording: Wording
  foot(): FamilyFoot
  firstAdvice(): readonly Part[]
  concerns(): readonly { readonly id: string; readonly label: string }[]
  lineNotice?(): readonly string[]
  readonly language?: string
}

/** Everything that families on Telegram need from the rest of the bot. */
export interface TelegramChannelPorts {
  readonly connection: Connection
  /** Says what belongs to no case; never rejects. */
  readonly say: Say
  /** Resolves when the message is kept; rejects when it has to come again. */
  receive(incoming: Incoming): Promise<void>
  /** Where a chat stands now. */
  chatNow(chat: ChatRef): Promise<ChatNow>
  spoken(language?: string): TelegramSpoken
  readonly languages: readonly { readonly tag: string; readonly name: string }[]
  readonly clinicName: () => string
  readonly sign: Sign
  /** Ids of all danger signs. */
  readonly dangerSigns: readonly string[]
  /** A drawing as PNG. */
  drawing(id: string): Uint8Array | undefined
  readonly status: StatusMessages
  /** The delivery id of a message or press: says nothing of the chat, the same whenever the same. */
  deliveryId(key: string): string
  now(): Instant
}

export type TelegramChannel = Channel & {
  /** Takes what a family did; resolves once it is kept. Rejects when it has to be brought again. */
  take(arrived: FamilyArrived): Promise<void>
}

/** What a family can do; groups and clinicians are told apart before. */
export type FamilyArrived = Exclude<Arrived, { kind: 'elsewhere' | 'nothing' | 'blocked' }>

/** Replies whose first messages went out and whose rest is still to go: so many are remembered. */
const BEGUN_MOST = 5_000
const TICKS_MOST = 5_000

/**
 * Families on Telegram. What they write or press becomes the same messages as on every other channel; what is said to them
 * are plain messages with buttons. Nothing that steers a case is kept here: a restart at any moment forgets a tick at most,
 * and that still stands on the button.
 */
export function telegramChannel(ports: TelegramChannelPorts): TelegramChannel {
  const { connection } = ports
  /** How many messages of a reply are out. */
  const begun = new Map<string, number>()
  /** Chats that have keys under their box. */
  const keyed = new Set<string>()
  /** What is ticked under a message, in the order of the presses: the message itself may show it a moment later. */
  const ticks = new Map<string, Set<string>>()

  const refOf = (chat: string): ChatRef => ({ channel: TELEGRAM_CHANNEL, chat })

  async function hand(
    from: FamilyArrived,
    body: Incoming['body'],
    more: Partial<Pick<Incoming, 'noAnswer' | 'madeAt' | 'language'>> = {},
  ): Promise<void> {
    const at = ports.now()
    const language = more.language ?? spokenTag(from.language)
    await ports.receive({
      ...refOf(from.chat),
      deliveryId: ports.deliveryId(from.key),
      at,
      body,
      ...(more.noAnswer === undefined ? {} : { noAnswer: more.noAnswer }),
      ...(more.madeAt === undefined || more.madeAt >= at ? {} : { madeAt: more.madeAt }),
      ...(language === undefined ? {} : { language }),
    })
  }

  /** One of the line's languages that a telephone is set to. */
  const spokenTag = (language: string | undefined): string | undefined =>
    ports.languages.find(({ tag }) => tag === language || tag === language?.split('-')[0])?.tag

  /** Says words that belong to no case, in parts where they are long. */
  async function show(chat: string, message: ToSend): Promise<void> {
    const parts = partedAtLines(message.text)
    for (const [index, text] of parts.entries()) {
      const { buttons: _later, keys: _too, ...plain } = message
      await ports.say(chat, index === parts.length - 1 ? { ...message, text } : { ...plain, text })
    }
  }

  async function start(from: FamilyArrived & { kind: 'start' }): Promise<void> {
    const now = await ports.chatNow(refOf(from.chat))
    if (now.isOpen) return hand(from, { kind: 'control', control: 'start' })
    const invited = invitationIn(from.payload)
    const language = ports.languages.find(({ tag }) => tag === invited.language)?.tag ?? spokenTag(from.language)
    const spoken = ports.spoken(language)
    if (invited.concern !== undefined && spoken.concerns().some(({ id }) => id === invited.concern)) {
      const body = { kind: 'choice', serial: CONCERN_SERIAL, values: [invited.concern] } as const
      return hand(from, body, language === undefined ? {} : { language })
    }
    const buttons = chatButtons(from.chat, ports.sign, spoken.wording)
    await show(from.chat, welcomeOf(spoken, buttons, ports))
  }

  async function command(from: FamilyArrived & { kind: 'command' }): Promise<void> {
    switch (from.command) {
      case 'person':
        return hand(from, { kind: 'control', control: 'person' })
      case 'change':
      case 'language':
      case 'desk':
        return menu(from, from.command)
      case 'help':
      case 'where':
        return start({ ...from, kind: 'start', payload: '' })
      default:
        return hand(from, { kind: 'text', text: `/${from.command}` })
    }
  }

  async function menu(from: FamilyArrived, which: 'change' | 'language' | 'desk'): Promise<void> {
    const now = await ports.chatNow(refOf(from.chat))
    const spoken = ports.spoken(now.language ?? spokenTag(from.language))
    await show(from.chat, menuOf(which, now, spoken, chatButtons(from.chat, ports.sign, spoken.wording), ports))
  }

  async function words(from: FamilyArrived & { kind: 'words' }): Promise<void> {
    const { text, madeAt, how } = from
    if (how !== undefined)
      return hand(from, { kind: 'text', text }, { madeAt, noAnswer: how === 'captioned' ? 'media' : how })
    const key = keyed.has(from.chat) ? await keyPressed(from.chat, text) : undefined
    return hand(from, key ?? { kind: 'text', text }, { madeAt })
  }

  /** A key under the box sends its label as words. */
  async function keyPressed(chat: string, text: string): Promise<Incoming['body'] | undefined> {
    const { questions } = await ports.chatNow(refOf(chat))
    const question = questions().find(({ accepts }) => accepts === 'phone')
    const option = question?.options.find(({ label }) => label === text.trim())
    return question === undefined || option === undefined
      ? undefined
      : { kind: 'choice', serial: question.serial, values: [option.value] }
  }

  async function press(from: FamilyArrived & { kind: 'press' }): Promise<void> {
    const now = await ports.chatNow(refOf(from.chat))
    const spoken = ports.spoken(now.language ?? spokenTag(from.language))
    const buttons = chatButtons(from.chat, ports.sign, spoken.wording)
    const known = knownOf(now, from.data)
    const read = buttons.read(from.data, known)
    const note = await pressed(from, read, now, buttons, spoken, known)
    // The waiting sign goes away; nothing depends on it.
    void connection.answerPress(from.pressId, note)
  }

  function knownOf(now: ChatNow, data: string): Known {
    const isConcern = serialIn(data) === CONCERN_SERIAL
    return {
      questions: isConcern
        ? () => ports.languages.map(({ tag }) => concernsAsked(ports.spoken(tag)))
        : () => now.questions(),
      always: ports.dangerSigns,
      facts: () => now.changeable().map(({ fact }) => fact),
      languages: ports.languages.map(({ tag }) => tag),
    }
  }

  /** Does what a button says; a note where it did nothing. */
  async function pressed(
    from: FamilyArrived & { kind: 'press' },
    read: Press,
    now: ChatNow,
    buttons: ChatButtons,
    spoken: TelegramSpoken,
    known: Known,
  ): Promise<string | undefined> {
    switch (read.kind) {
      case 'value': {
        await hand(from, { kind: 'choice', serial: read.serial, values: [read.value] })
        answered(from, read.serial, [read.value], known)
        return undefined
      }
      case 'tick':
        return ticked(from, read, now, buttons, known)
      case 'done': {
        const values = [...ticksOf(from, buttons, known)]
        if (values.length === 0) return spoken.wording('nothing-chosen')
        await hand(from, { kind: 'choice', serial: read.serial, values })
        answered(from, read.serial, values, known)
        return undefined
      }
      case 'late':
        // The bot says that this was answered, and asks again what is open now. A concern's button is no question's.
        return hand(
          from,
          read.serial > CONCERN_SERIAL
            ? { kind: 'choice', serial: read.serial, values: [LATE] }
            : { kind: 'control', control: 'start' },
        ).then(() => undefined)
      case 'control':
        return hand(from, { kind: 'control', control: read.control }).then(() => undefined)
      case 'change':
        return hand(from, { kind: 'control', control: 'change', subject: read.fact }).then(() => undefined)
      case 'language':
        return language(from, read.tag, now).then(() => undefined)
      case 'menu':
        return menu(from, read.menu).then(() => undefined)
      case 'unknown':
        return hand(from, { kind: 'control', control: 'start' }).then(() => undefined)
    }
  }

  /** Before anything is said it is the same first message in another language; in a case the talk goes on in it. */
  async function language(from: FamilyArrived, tag: string, now: ChatNow): Promise<void> {
    if (now.isOpen) return hand(from, { kind: 'control', control: 'language', subject: tag })
    const spoken = ports.spoken(tag)
    await show(from.chat, welcomeOf(spoken, chatButtons(from.chat, ports.sign, spoken.wording), ports))
  }

  const tickKey = ({ chat, messageId }: FamilyArrived & { kind: 'press' }): string => `${chat}.${messageId ?? 0}`

  function ticksOf(from: FamilyArrived & { kind: 'press' }, buttons: ChatButtons, known: Known): Set<string> {
    return ticks.get(tickKey(from)) ?? tickedIn(from.rows, buttons, known)
  }

  async function ticked(
    from: FamilyArrived & { kind: 'press' },
    { serial, value, to }: Press & { kind: 'tick' },
    now: ChatNow,
    buttons: ChatButtons,
    known: Known,
  ): Promise<undefined> {
    const values = ticksOf(from, buttons, known)
    if (to) values.add(value)
    else values.delete(value)
    if (ticks.size > TICKS_MOST) ticks.clear()
    ticks.set(tickKey(from), values)
    const question = now.questions().find(one => one.serial === serial)
    if (question !== undefined && from.messageId !== undefined)
      await connection.editButtons(from.chat, from.messageId, buttons.question(question, values))
    return undefined
  }

  /** What was chosen stays to be read under its question; the other options go. */
  function answered(
    from: FamilyArrived & { kind: 'press' },
    serial: number,
    values: readonly string[],
    { questions }: Known,
  ): void {
    ticks.delete(tickKey(from))
    const options = questions().find(
      question => question.serial === serial && question.options.some(o => values.includes(o.value)),
    )?.options
    if (options === undefined || from.messageId === undefined || serial === CONCERN_SERIAL) return
    const chosen = options.filter(({ value }) => values.includes(value))
    const rows = chosen.map(({ label }) => [{ text: `✓ ${label}`, data: from.data }])
    void connection.editButtons(from.chat, from.messageId, rows)
  }

  async function deliver(outgoing: Outgoing): Promise<Delivery> {
    const { chat, effectId } = outgoing
    const spoken = ports.spoken(outgoing.language)
    const { wording } = spoken
    const pieces = piecesOf(outgoing, {
      wording,
      foot: spoken.foot(),
      buttons: chatButtons(chat, ports.sign, wording),
      drawing: ports.drawing,
      hasKeys: keyed.has(chat),
      ...(isFirst(outgoing) ? { first: wording('telegram-first', { clinicName: ports.clinicName() }) } : {}),
    })
    for (let index = begun.get(effectId) ?? 0; index < pieces.length; index += 1) {
      const piece = pieces[index]
      if (piece === undefined) break
      const outcome = await sendPiece(chat, piece)
      if (outcome.kind !== 'done') return outcome
      if (piece.kind === 'text' && piece.message.keys !== undefined) {
        if (piece.message.keys.length > 0) keyed.add(chat)
        else keyed.delete(chat)
      }
      if (begun.size > BEGUN_MOST) begun.clear()
      begun.set(effectId, index + 1)
    }
    begun.delete(effectId)
    if (outgoing.caseId !== '') ports.status.follow(outgoing.caseId)
    return { kind: 'delivered' }
  }

  async function sendPiece(chat: string, piece: Piece) {
    if (piece.kind === 'text') return connection.send(chat, piece.message)
    const outcome = await connection.photo(chat, piece)
    // A picture that is not taken is said in words.
    return outcome.kind === 'refused' && outcome.reason.startsWith('refused-')
      ? connection.send(chat, { text: piece.caption, silent: piece.silent })
      : outcome
  }

  return {
    id: TELEGRAM_CHANNEL,
    start: async () => undefined,
    stop: async () => undefined,
    deliver,
    take(from) {
      switch (from.kind) {
        case 'start':
          return start(from)
        case 'command':
          return command(from)
        case 'words':
          return words(from)
        case 'number':
          return hand(from, { kind: 'text', text: from.number }, { madeAt: from.madeAt })
        case 'media':
          return hand(from, { kind: 'media', media: from.media }, { madeAt: from.madeAt })
        case 'press':
          return press(from)
      }
    },
  }
}

/** Stands for a value that is no option of the open question. */
const LATE = 'late-press'

/** Whether it answers the first message of its case. */
const isFirst = ({ caseId, effectId }: Outgoing): boolean => effectId.startsWith(`${caseId}.1.`)

/** `es`, `tube-out` or `es_tube-out`: what a clinic's link may carry after `start=`. Anything else is no invitation. */
export function invitationIn(payload: string): { readonly language?: string; readonly concern?: string } {
  const [, language, concern] = /^(?:([a-z]{2}(?:-[A-Z]{2})?)(?:_|$))?([a-z][a-z-]{1,40})?$/.exec(payload) ?? []
  return {
    ...(language === undefined ? {} : { language }),
    ...(concern === undefined ? {} : { concern }),
  }
}
