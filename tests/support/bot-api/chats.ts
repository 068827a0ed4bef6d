import type { Chat, InlineKeyboardMarkup, ReplyKeyboardMarkup } from 'grammy/types'
import { bad, type Refused, type Sent } from './limits.ts'
import type { Phone, Shown } from './phone.ts'

interface There {
  readonly chat: Chat
  readonly phone: Phone
  readonly shown: Shown[]
}

/** How long a press may be answered, in ms; the reference gives no figure, 150 s is when the press itself is dropped. */
const PRESS_ANSWERED_MS = 150_000

export type Chats = ReturnType<typeof chats>

/** The chats of the stand-in and what stands in them. */
export function chats(now: () => number) {
  const all = new Map<number, There>()
  const blocked = new Set<number>()
  const presses = new Map<string, { readonly chat: number; readonly atMs: number }>()
  const left: number[] = []
  let messages = 100

  const of = (sent: Sent): There | Refused => {
    const id = Number(sent.chat_id)
    const found = all.get(id)
    if (found === undefined) return bad('chat not found')
    return blocked.has(id) ? { code: 403, description: 'Forbidden: bot was blocked by the user' } : found
  }

  const messageOf = (there: There, shown: Shown) => ({
    message_id: shown.id,
    date: Math.floor(now() / 1_000),
    chat: there.chat,
    ...(shown.photo ? { caption: shown.text, photo: [] } : { text: shown.text }),
    ...(shown.buttons.length === 0 ? {} : { reply_markup: { inline_keyboard: shown.buttons } }),
  })

  return {
    left,
    nextMessageId: () => ++messages,
    add: (id: number, there: There) => void all.set(id, there),
    phoneOf: (id: number): Phone | undefined => all.get(id)?.phone,
    setBlocked: (id: number, isBlocked: boolean) => void (isBlocked ? blocked.add(id) : blocked.delete(id)),
    pressed: (press: string, chat: number) => void presses.set(press, { chat, atMs: now() }),
    send(sent: Sent) {
      const there = of(sent)
      if ('code' in there) return there
      const markup = sent.reply_markup
      const shown: Shown = {
        id: ++messages,
        text: String(sent.text ?? sent.caption ?? ''),
        photo: sent.photo !== undefined,
        buttons: inlineOf(markup),
        keys: keysOf(markup),
        silent: sent.disable_notification === true,
        edits: 0,
      }
      there.shown.push(shown)
      return messageOf(there, shown)
    },
    /** An edit without buttons takes them away. One that changes nothing is refused. */
    edit(method: 'editMessageText' | 'editMessageReplyMarkup', sent: Sent) {
      const there = of(sent)
      if ('code' in there) return there
      const shown = there.shown.find(({ id }) => id === Number(sent.message_id))
      if (shown === undefined) return bad('message to edit not found')
      const text = method === 'editMessageText' ? String(sent.text) : shown.text
      const buttons = inlineOf(sent.reply_markup)
      if (text === shown.text && JSON.stringify(buttons) === JSON.stringify(shown.buttons))
        return bad(
          'message is not modified: specified new message content and reply markup are exactly the same as a current content and reply markup of the message',
        )
      Object.assign(shown, { text, buttons, edits: shown.edits + 1 })
      return messageOf(there, shown)
    },
    answerPress(sent: Sent) {
      const press = presses.get(String(sent.callback_query_id))
      if (press === undefined || now() - press.atMs > PRESS_ANSWERED_MS)
        return bad('query is too old and response timeout expired or query ID is invalid')
      all.get(press.chat)?.phone.answered.push({
        ...(sent.text === undefined ? {} : { text: String(sent.text) }),
        alert: sent.show_alert === true,
      })
      return true
    },
    pin(sent: Sent) {
      const there = of(sent)
      if ('code' in there) return there
      if (!there.shown.some(({ id }) => id === Number(sent.message_id))) return bad('message to pin not found')
      there.phone.pinned.push(Number(sent.message_id))
      return true
    },
    leave(sent: Sent) {
      const there = of(sent)
      if ('code' in there) return there
      if (there.chat.type === 'private') return bad("can't leave a private chat")
      left.push(there.chat.id)
      return true
    },
  }
}

const inlineOf = (markup: unknown): InlineKeyboardMarkup['inline_keyboard'] =>
  typeof markup === 'object' && markup !== null && 'inline_keyboard' in markup
    ? (markup as InlineKeyboardMarkup).inline_keyboard
    : []

const keysOf = (markup: unknown): readonly string[] =>
  typeof markup === 'object' && markup !== null && 'keyboard' in markup
    ? (markup as ReplyKeyboardMarkup).keyboard.flat().map(key => (typeof key === 'string' ? key : key.text))
    : []
