import type { CallbackQuery, Chat, InlineKeyboardMarkup, Message, Update, User } from 'grammy/types'

/** What stands in a chat, as the telephone shows it. */
export interface Shown {
  readonly id: number
  text: string
  readonly photo: boolean
  buttons: InlineKeyboardMarkup['inline_keyboard']
  /** Buttons under the box to write in. */
  readonly keys: readonly string[]
  readonly silent: boolean
  edits: number
}

/** A person with a telephone: what they see of the bot, and what they do. */
export interface Phone {
  readonly id: number
  readonly shown: readonly Shown[]
  /** Texts of the bot, oldest first, status message and captions too. */
  texts(): string[]
  /** The latest message whose buttons hold this label. */
  find(label: string): Shown | undefined
  says(text: string, more?: Partial<Message>): number
  /** Presses the newest button of this label; throws where there is none. Gives the id of the press. */
  taps(label: string): string
  /** Presses something that the bot may never have sent. */
  press(data: string, messageId?: number): string
  edits(messageId: number, text: string): void
  sends(what: Partial<Message>): void
  blocks(): void
  unblocks(): void
  /** What the last press was answered with; undefined while it was not. */
  readonly answered: { readonly text?: string; readonly alert: boolean }[]
  readonly pinned: number[]
}

export interface PhonePorts {
  add(make: (updateId: number) => Update): void
  nextMessageId(): number
  nextPressId(): string
  now(): number
  setBlocked(isBlocked: boolean): void
}

export type ShownList = Shown[]

export function phone(ports: PhonePorts, from: User, chat: Chat, shown: Shown[]): Phone {
  const answered: { text?: string; alert: boolean }[] = []
  const date = () => Math.floor(ports.now() / 1_000)
  const message = (id: number, what: Partial<Message>): Message =>
    ({ message_id: id, date: date(), chat, from, ...what }) as Message
  const send = (what: Partial<Message>): number => {
    const id = ports.nextMessageId()
    ports.add(update_id => ({ update_id, message: message(id, what) }) as Update)
    return id
  }
  const member = (status: 'member' | 'kicked', before: 'member' | 'kicked') => {
    const user: User = { id: 1, is_bot: true, first_name: 'Line' }
    const change = {
      chat,
      from,
      date: date(),
      old_chat_member: { user, status: before },
      new_chat_member: { user, status, until_date: 0 },
    }
    ports.add(update_id => ({ update_id, my_chat_member: change }) as Update)
  }
  const find = (label: string): Shown | undefined =>
    shown.findLast(({ buttons }) => buttons.flat().some(button => button.text === label))
  return {
    id: from.id,
    shown,
    answered,
    pinned: [],
    texts: () => shown.map(({ text }) => text),
    find,
    says: (text, more = {}) =>
      send({
        text,
        ...(text.startsWith('/')
          ? { entities: [{ type: 'bot_command', offset: 0, length: text.split(' ')[0]?.length ?? 1 }] }
          : {}),
        ...more,
      }),
    taps(label) {
      const at = find(label)
      const button = at?.buttons.flat().find(({ text }) => text === label)
      if (at === undefined || button === undefined || !('callback_data' in button))
        throw new Error(
          `no button "${label}"; there are: ${shown.flatMap(one => one.buttons.flat().map(b => b.text)).join(' | ')}`,
        )
      return this.press(String(button.callback_data), at.id)
    },
    press(data, messageId) {
      const at = shown.find(({ id }) => id === messageId)
      const id = ports.nextPressId()
      const about =
        at === undefined
          ? {}
          : {
              message: {
                ...message(at.id, { text: at.text }),
                ...(at.buttons.length === 0 ? {} : { reply_markup: { inline_keyboard: at.buttons } }),
              },
            }
      ports.add(update_id => ({
        update_id,
        callback_query: { id, from, chat_instance: 'x', data, ...about } as CallbackQuery,
      }))
      return id
    },
    edits(messageId, text) {
      ports.add(
        update_id => ({ update_id, edited_message: { ...message(messageId, { text }), edit_date: date() } }) as Update,
      )
    },
    sends: what => void send(what),
    blocks() {
      ports.setBlocked(true)
      member('kicked', 'member')
    },
    unblocks() {
      ports.setBlocked(false)
      member('member', 'kicked')
    },
  }
}
