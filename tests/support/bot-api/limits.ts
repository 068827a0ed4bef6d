import type { ApiMethods, InlineKeyboardMarkup, ReplyKeyboardMarkup } from 'grammy/types'

/** Methods of the Bot API that the stand-in serves; each is one of the published ones. */
export const SERVED = [
  'getMe', 'getUpdates', 'setWebhook', 'deleteWebhook', 'getWebhookInfo', 'sendMessage', 'sendPhoto', 'editMessageText',
  'editMessageReplyMarkup', 'answerCallbackQuery', 'setMyCommands', 'pinChatMessage', 'leaveChat',
] as const satisfies readonly (keyof ApiMethods)[] // biome-ignore format: one list

export type Method = (typeof SERVED)[number]

/** What a call carried: JSON, or the fields of a form with a file's bytes under its own name. */
export type Sent = Readonly<Record<string, unknown>>

/** A refusal in the words of the Bot API: error code and description. */
export interface Refused {
  readonly code: number
  readonly description: string
  readonly parameters?: { readonly retry_after?: number; readonly migrate_to_chat_id?: number }
}

export const bad = (what: string): Refused => ({ code: 400, description: `Bad Request: ${what}` })

/**
 * Fields a method must carry and may carry, as the Bot API's reference lists them (Bot API 10.1). A field outside the list is
 * ignored by the real server; here it is an error, since nothing of ours means it.
 */
const FIELDS: Readonly<Record<Method, { readonly must: readonly string[]; readonly may: readonly string[] }>> = {
  getMe: { must: [], may: [] },
  getUpdates: { must: [], may: ['offset', 'limit', 'timeout', 'allowed_updates'] },
  setWebhook: { must: ['url'], may: ['secret_token', 'max_connections', 'allowed_updates', 'drop_pending_updates'] },
  deleteWebhook: { must: [], may: ['drop_pending_updates'] },
  getWebhookInfo: { must: [], may: [] },
  sendMessage: { must: ['chat_id', 'text'], may: ['reply_markup', 'disable_notification', 'link_preview_options'] },
  sendPhoto: { must: ['chat_id', 'photo'], may: ['caption', 'reply_markup', 'disable_notification'] },
  editMessageText: { must: ['text', 'chat_id', 'message_id'], may: ['reply_markup', 'link_preview_options'] },
  editMessageReplyMarkup: { must: ['chat_id', 'message_id'], may: ['reply_markup'] },
  answerCallbackQuery: { must: ['callback_query_id'], may: ['text', 'show_alert'] },
  setMyCommands: { must: ['commands'], may: ['language_code', 'scope'] },
  pinChatMessage: { must: ['chat_id', 'message_id'], may: ['disable_notification'] },
  leaveChat: { must: ['chat_id'], may: [] },
}

/** What is wrong with a call by the published limits; undefined where nothing is. Figures: Bot API 10.1 reference. */
export function faultOf(method: Method, sent: Sent): Refused | undefined {
  const { must, may } = FIELDS[method]
  const missing = must.find(field => sent[field] === undefined || sent[field] === '')
  if (missing !== undefined) return bad(missing === 'text' ? 'message text is empty' : `${missing} is empty`)
  const stray = Object.keys(sent).find(
    // A file comes under any name that a field says it is attached by (Bot API, Sending files).
    field => !must.includes(field) && !may.includes(field) && !Object.values(sent).includes(`attach://${field}`),
  )
  if (stray !== undefined) return bad(`stand-in: unknown field ${stray}`)
  return textFault(method, sent) ?? markupFault(sent.reply_markup) ?? otherFault(method, sent)
}

/** Lengths count UTF-16 units, as message entities do (Bot API, MessageEntity). */
function textFault(method: Method, { text, caption }: Sent): Refused | undefined {
  if (text !== undefined && typeof text !== 'string') return bad('text must be a string')
  const most = method === 'answerCallbackQuery' ? 200 : 4_096
  if (typeof text === 'string' && method !== 'answerCallbackQuery' && text.trim() === '')
    return bad('message text is empty')
  if (typeof text === 'string' && text.length > most) return bad('message is too long')
  if (typeof caption === 'string' && caption.length > 1_024) return bad('message caption is too long')
  return undefined
}

function markupFault(markup: unknown): Refused | undefined {
  if (markup === undefined) return undefined
  if (typeof markup !== 'object' || markup === null) return bad("can't parse reply keyboard markup JSON object")
  if ('inline_keyboard' in markup) return inlineFault(markup as InlineKeyboardMarkup)
  if ('keyboard' in markup) return keyboardFault(markup as ReplyKeyboardMarkup)
  return 'remove_keyboard' in markup ? undefined : bad("can't parse reply keyboard markup JSON object")
}

function inlineFault({ inline_keyboard: rows }: InlineKeyboardMarkup): Refused | undefined {
  const buttons = rows.flat()
  // 100 buttons: seen in practice, no published figure.
  if (buttons.length > 100) return bad('REPLY_MARKUP_TOO_LONG')
  for (const button of buttons) {
    if (button.text.trim() === '') return bad('inline keyboard button text is empty')
    const acts = Object.keys(button).filter(key => key !== 'text')
    if (acts.length !== 1) return bad('inline keyboard button must have exactly one action')
    if ('callback_data' in button) {
      const bytes = Buffer.byteLength(button.callback_data)
      if (bytes < 1 || bytes > 64) return bad('BUTTON_DATA_INVALID')
    }
    if ('url' in button && !/^(https?|tg):\/\//.test(button.url)) return bad('BUTTON_URL_INVALID')
  }
  return undefined
}

function keyboardFault({ keyboard }: ReplyKeyboardMarkup): Refused | undefined {
  const texts = keyboard.flat().map(button => (typeof button === 'string' ? button : button.text))
  return texts.length === 0 || texts.some(text => text.trim() === '') ? bad('text of a button is empty') : undefined
}

function otherFault(method: Method, sent: Sent): Refused | undefined {
  if (method === 'getUpdates') {
    if (!isWhole(sent.limit ?? 100, 1, 100)) return bad('limit must be from 1 to 100')
    if (!isWhole(sent.timeout ?? 0, 0, Number.MAX_SAFE_INTEGER)) return bad('timeout must be positive')
  }
  if (method === 'setWebhook') {
    if (sent.secret_token !== undefined && !/^[A-Za-z0-9_-]{1,256}$/.test(String(sent.secret_token)))
      return bad('secret token contains unallowed characters')
    if (!isWhole(sent.max_connections ?? 40, 1, 100)) return bad('max_connections must be from 1 to 100')
  }
  if (method === 'setMyCommands') {
    const commands = sent.commands as readonly { readonly command: string; readonly description: string }[]
    if (commands.length > 100) return bad('BOT_COMMANDS_TOO_MUCH')
    if (!commands.every(one => /^[a-z0-9_]{1,32}$/.test(one.command))) return bad('BOT_COMMAND_INVALID')
    if (!commands.every(one => one.description.length >= 1 && one.description.length <= 256))
      return bad('BOT_COMMAND_DESCRIPTION_INVALID')
  }
  if (method === 'sendPhoto' && !isPng(sent)) return bad('IMAGE_PROCESS_FAILED')
  return undefined
}

const isWhole = (value: unknown, least: number, most: number): boolean =>
  Number.isInteger(value) && Number(value) >= least && Number(value) <= most

/** A photo is uploaded with the call: eight bytes say that it is a PNG (PNG specification, section 5.2), at most 10 MB. */
function isPng(sent: Sent): boolean {
  const [, name] = /^attach:\/\/(\w+)$/.exec(String(sent.photo)) ?? []
  const bytes = sent[name ?? 'photo']
  return (
    bytes instanceof Uint8Array &&
    bytes.length <= 10_000_000 &&
    Buffer.from(bytes.subarray(0, 8)).toString('hex') === '89504e470d0a1a0a'
  )
}
