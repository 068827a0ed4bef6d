import type { Message, Update } from 'grammy/types'
import { type Instant, instant } from '../time/instant.ts'

interface Private {
  /** Of the chat, as digits. */
  readonly chat: string
  /** The same for the same message or press, however often it is delivered; says nothing about whose it is by itself. */
  readonly key: string
  /** Language the person's telephone is set to, BCP 47. */
  readonly language?: string
}

/** A button as it stood under the message that was pressed. */
export interface Pressable {
  readonly text: string
  readonly data: string
}

/** What an update means, free of the Bot API's shapes. */
export type Arrived =
  | (Private & {
      readonly kind: 'words'
      readonly text: string
      readonly madeAt: Instant
      /** Why the words are no answer of their own, where they are none. */
      readonly how?: 'edited' | 'forwarded' | 'captioned'
      /** Data of the buttons under the message that is replied to. */
      readonly repliesTo?: readonly string[]
    })
  | (Private & { readonly kind: 'start'; readonly payload: string })
  | (Private & { readonly kind: 'command'; readonly command: string })
  | (Private & { readonly kind: 'number'; readonly number: string; readonly madeAt: Instant })
  | (Private & { readonly kind: 'media'; readonly media: string; readonly madeAt: Instant })
  | (Private & {
      readonly kind: 'press'
      readonly pressId: string
      readonly data: string
      readonly messageId?: number
      /** Rows of buttons under the message at the time; none where it is too old. */
      readonly rows: readonly (readonly Pressable[])[]
    })
  /** The person blocked the bot: nothing can be said to them. */
  | (Private & { readonly kind: 'blocked' })
  /** A group or a channel, where others could read. */
  | { readonly kind: 'elsewhere'; readonly chat: string; readonly isLeft: boolean }
  | { readonly kind: 'nothing' }

/** What the pump asks for: whatever else there is never arrives. */
export const ASKED_FOR = ['message', 'edited_message', 'callback_query', 'my_chat_member', 'channel_post'] as const

const MEDIA = [
  'photo', 'voice', 'audio', 'video', 'video_note', 'animation', 'sticker', 'document', 'location', 'venue', 'poll', 'dice', 'game',
  'story', 'paid_media', 'checklist',
] as const // biome-ignore format: one list

export function arrived(update: Update): Arrived {
  const { message, edited_message: edited, callback_query: press, my_chat_member: member } = update
  const post = update.channel_post ?? update.edited_channel_post
  if (post !== undefined) return { kind: 'elsewhere', chat: String(post.chat.id), isLeft: false }
  if (member !== undefined) {
    const chat = String(member.chat.id)
    const isGone = member.new_chat_member.status === 'kicked' || member.new_chat_member.status === 'left'
    if (member.chat.type !== 'private') return { kind: 'elsewhere', chat, isLeft: isGone }
    return isGone ? { kind: 'blocked', chat, key: `${chat}.blocked.${member.date}` } : { kind: 'nothing' }
  }
  if (press !== undefined) return pressed(press)
  if (edited !== undefined) return said(edited, true)
  return message === undefined ? { kind: 'nothing' } : said(message, false)
}

function said(message: Message, isEdited: boolean): Arrived {
  const chat = String(message.chat.id)
  if (message.chat.type !== 'private')
    return { kind: 'elsewhere', chat, isLeft: message.left_chat_member !== undefined }
  const language = message.from?.language_code
  const own = {
    chat,
    key: `${chat}.${message.message_id}${isEdited ? `.${message.edit_date ?? 0}` : ''}`,
    ...(language === undefined ? {} : { language }),
  }
  const madeAt = instant((isEdited ? (message.edit_date ?? message.date) : message.date) * 1_000)
  if (message.contact !== undefined)
    return { kind: 'number', ...own, number: numberOf(message.contact.phone_number), madeAt }
  const how = isEdited ? 'edited' : message.forward_origin !== undefined ? 'forwarded' : undefined
  if (message.text !== undefined && how === undefined) {
    const [, command, payload = ''] = /^\/([a-z0-9_]{1,32})(?:@\w+)?(?:\s+(.*))?$/is.exec(message.text) ?? []
    if (command?.toLowerCase() === 'start') return { kind: 'start', ...own, payload: payload.trim() }
    if (command !== undefined && payload === '') return { kind: 'command', ...own, command: command.toLowerCase() }
  }
  const repliesTo = message.reply_to_message?.reply_markup?.inline_keyboard
    .flat()
    .flatMap(button => ('callback_data' in button ? [button.callback_data] : []))
  const words = { ...own, madeAt, ...(repliesTo === undefined ? {} : { repliesTo }) }
  if (message.text !== undefined)
    return { kind: 'words', ...words, text: message.text, ...(how === undefined ? {} : { how }) }
  const media = MEDIA.find(kind => message[kind] !== undefined)
  if (media === undefined) return { kind: 'nothing' }
  // Its words may name danger; the picture itself is not seen.
  if (message.caption !== undefined && message.caption.trim() !== '')
    return { kind: 'words', ...words, text: message.caption, how: how ?? 'captioned' }
  return { kind: 'media', ...own, media, madeAt }
}

function pressed(press: NonNullable<Update['callback_query']>): Arrived {
  const { message } = press
  const chat = String(message?.chat.id ?? press.from.id)
  if (message !== undefined && message.chat.type !== 'private') return { kind: 'elsewhere', chat, isLeft: false }
  const rows =
    message !== undefined && 'reply_markup' in message
      ? (message.reply_markup?.inline_keyboard ?? []).map(row =>
          row.flatMap(button => ('callback_data' in button ? [{ text: button.text, data: button.callback_data }] : [])),
        )
      : []
  return {
    kind: 'press',
    chat,
    key: `${chat}.press.${press.id}`,
    pressId: press.id,
    data: press.data ?? '',
    rows,
    ...(message === undefined ? {} : { messageId: message.message_id }),
    ...(press.from.language_code === undefined ? {} : { language: press.from.language_code }),
  }
}

/** Telephones give the country code with or without its plus. */
const numberOf = (number: string): string => (number.startsWith('+') ? number : `+${number.replace(/^00/, '')}`)
