import { Api, InputFile } from 'grammy'
import type { InlineKeyboardMarkup, ReplyKeyboardMarkup, ReplyKeyboardRemove } from 'grammy/types'
import { type Outcome, outcomeOf } from './outcome.ts'

/** A button under a message: opaque data that comes back when it is pressed, or an address that it opens. */
export type Button =
  | { readonly text: string; readonly data: string }
  | { readonly text: string; readonly address: string }

/** A button under the box to write in; pressed, its text is sent as the person's own, or their telephone number. */
export interface Key {
  readonly text: string
  readonly sharesNumber?: boolean
}

export interface ToSend {
  readonly text: string
  readonly buttons?: readonly (readonly Button[])[]
  readonly keys?: readonly Key[]
  /** Arrives without a sound. */
  readonly silent?: boolean
}

export interface PhotoToSend {
  readonly png: Uint8Array
  readonly caption: string
  readonly silent?: boolean
}

/** What channel and pager say to the Bot API. No call throws: every end is a value. */
export interface Connection {
  /** The id of the message. */
  send(chat: string, message: ToSend): Promise<Outcome<number>>
  photo(chat: string, photo: PhotoToSend): Promise<Outcome<number>>
  edit(chat: string, messageId: number, message: ToSend): Promise<Outcome<void>>
  editButtons(chat: string, messageId: number, buttons: readonly (readonly Button[])[]): Promise<Outcome<void>>
  /** Ends the waiting sign of a press, with a short text where there is one. */
  answerPress(id: string, text?: string): Promise<Outcome<void>>
  pin(chat: string, messageId: number): Promise<Outcome<void>>
  leave(chat: string): Promise<Outcome<void>>
}

export interface ConnectionOptions {
  readonly api: Api
  readonly monotonicMs: () => number
}

/** Seconds after which a call counts as cut off. */
const CALL_SECONDS = 25

/** What carries calls to the Bot API: the platform's `fetch`, or what stands in its place. */
export type Wire = NonNullable<NonNullable<ConstructorParameters<typeof Api>[1]>['fetch']>

/** The client of the Bot API. It never writes a token into an error or a log. */
export const apiOf = (token: string, server: string, wire?: Wire): Api =>
  new Api(token, {
    ...{ apiRoot: server, timeoutSeconds: CALL_SECONDS },
    ...(wire === undefined ? {} : { fetch: wire }),
  })

/**
 * The calls that send, over grammY's client. After "too many requests" a chat is left alone for as long as it was asked; no
 * other chat waits for it, and pages go to other chats than families' words.
 */
export function connection({ api, monotonicMs }: ConnectionOptions): Connection {
  const held = new Map<string, number>()

  async function call<T>(chat: string, make: () => Promise<T>): Promise<Outcome<T>> {
    const waitMs = (held.get(chat) ?? 0) - monotonicMs()
    if (waitMs > 0) return { kind: 'failed', reason: 'too-many-requests', retryAfterMs: waitMs }
    held.delete(chat)
    try {
      return { kind: 'done', result: await make() }
    } catch (error) {
      const outcome = outcomeOf(error)
      if (outcome.kind === 'failed' && outcome.retryAfterMs !== undefined)
        held.set(chat, monotonicMs() + outcome.retryAfterMs)
      return outcome
    }
  }

  const isNothing = async (outcome: Promise<Outcome<unknown>>): Promise<Outcome<void>> => {
    const ended = await outcome
    // What it should become it already is.
    if (ended.kind === 'done' || (ended.kind === 'refused' && ended.reason === 'not-modified'))
      return { kind: 'done', result: undefined }
    return ended
  }

  return {
    send: (chat, message) =>
      call(chat, async () => {
        const sent = await api.sendMessage(chat, message.text, {
          ...markupOf(message),
          ...silence(message.silent),
          link_preview_options: { is_disabled: true },
        })
        return sent.message_id
      }),
    photo: (chat, { png, caption, silent }) =>
      call(chat, async () => {
        const sent = await api.sendPhoto(chat, new InputFile(png, 'drawing.png'), { caption, ...silence(silent) })
        return sent.message_id
      }),
    edit: (chat, id, message) =>
      isNothing(
        call(chat, () =>
          api.editMessageText(chat, id, message.text, {
            ...(message.buttons === undefined ? {} : { reply_markup: inline(message.buttons) }),
            link_preview_options: { is_disabled: true },
          }),
        ),
      ),
    editButtons: (chat, id, buttons) =>
      isNothing(call(chat, () => api.editMessageReplyMarkup(chat, id, { reply_markup: inline(buttons) }))),
    answerPress: (id, text) =>
      isNothing(call('', () => api.answerCallbackQuery(id, text === undefined ? {} : { text, show_alert: true }))),
    pin: (chat, id) => isNothing(call(chat, () => api.pinChatMessage(chat, id, { disable_notification: true }))),
    leave: chat => isNothing(call(chat, () => api.leaveChat(chat))),
  }
}

const silence = (silent: boolean | undefined) => (silent === true ? { disable_notification: true } : {})

function markupOf({ buttons, keys }: ToSend): {
  reply_markup?: InlineKeyboardMarkup | ReplyKeyboardMarkup | ReplyKeyboardRemove
} {
  if (buttons !== undefined && buttons.length > 0) return { reply_markup: inline(buttons) }
  if (keys === undefined) return {}
  if (keys.length === 0) return { reply_markup: { remove_keyboard: true } }
  return {
    reply_markup: {
      keyboard: keys.map(({ text, sharesNumber }) => [
        { text, ...(sharesNumber === true ? { request_contact: true as const } : {}) },
      ]),
      one_time_keyboard: true,
      resize_keyboard: true,
    },
  }
}

function inline(buttons: readonly (readonly Button[])[]): InlineKeyboardMarkup {
  return {
    inline_keyboard: buttons.map(row =>
      row.map(button =>
        'data' in button
          ? { text: button.text, callback_data: button.data }
          : { text: button.text, url: button.address },
      ),
    ),
  }
}
