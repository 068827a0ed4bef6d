import { once } from 'node:events'
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import type { Chat, User } from 'grammy/types'
import type { Clock } from '../../../src/runtime/clock.ts'
import { chats } from './chats.ts'
import { bad, faultOf, type Method, type Refused, SERVED, type Sent } from './limits.ts'
import { type Phone, phone, type Shown } from './phone.ts'
import { updateQueue } from './update-queue.ts'
import { type WebhookSender, webhookSender } from './webhook.ts'

/** What goes wrong with a call that a test chose. */
export type Fault =
  | Refused
  /** Done, and the connection is cut before the answer. */
  | 'lost-reply'
  /** The connection is cut before anything is done. */
  | 'reset'
  /** Nothing ever comes back, and nothing is done. */
  | 'silent'

export interface Call {
  readonly method: string
  readonly sent: Sent
  readonly atMs: number
}

/**
 * A strict stand-in of the Bot API on 127.0.0.1, written from its published reference (Bot API 10.1, core.telegram.org/bots/api)
 * and what the source of its official server shows. What a call may carry and how long it may be is checked; what is wrong
 * is refused as the real one does, and kept in `faults`, which a test expects to be empty.
 */
export interface BotApi {
  readonly root: string
  readonly token: string
  readonly calls: Call[]
  /** Calls of ours that the stand-in refused because they break a published limit. */
  readonly faults: string[]
  readonly webhook: WebhookSender
  /** Whether a poll is held, or a webhook set: what comes now is heard. */
  isHeard(): boolean
  /** Calls begun and not answered, the held poll apart. */
  underWay(): number
  /** Updates that nobody has confirmed yet. */
  pending(): number
  user(id: number, more?: Partial<User>): Phone
  /** A group that the bot was put into; `says` is somebody writing there. */
  group(id: number): Phone
  /** The next `times` calls for which `which` holds go wrong. */
  fail(which: (call: Call) => boolean, fault: Fault, times?: number): void
  /** What was planned to go wrong no longer does. */
  heal(): void
  /** From now on polls end well and bring nothing, whatever waits. */
  deafen(): void
  /** From now on the token is no longer good. */
  revoke(): void
  readonly leftChats: number[]
  /** Ends all connections and does not take new ones until `comeBack`. */
  stop(): Promise<void>
}

export interface BotApiOptions {
  readonly clock: Clock
  readonly token?: string
  /** Default: a free one. */
  readonly port?: number
}

const BOT: User = { id: 7_001, is_bot: true, first_name: 'Feeding line', username: 'feeding_line_bot' }

export async function botApi({
  clock,
  token = '7001:a-token_of-the-tests-AAAA',
  port = 0,
}: BotApiOptions): Promise<BotApi> {
  const queue = updateQueue(clock, 501)
  const webhook = webhookSender(clock, queue)
  queue.onAdded = () => webhook.look()
  const there = chats(() => clock.now())
  const calls: Call[] = []
  const faults: string[] = []
  const planned: { which: (call: Call) => boolean; fault: Fault; left: number }[] = []
  let isRevoked = false
  let isDeaf = false
  let pressIds = 0
  let begun = 0

  const server = createServer((request, response) => {
    const isPoll = request.url?.endsWith('/getUpdates') === true
    begun += isPoll ? 0 : 1
    void answer(request, response)
      .catch(() => response.destroy())
      .finally(() => {
        begun -= isPoll ? 0 : 1
      })
  })
  server.listen(port, '127.0.0.1')
  await once(server, 'listening')

  async function answer(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const [, asked, method = ''] = /^\/bot([^/]+)\/(\w+)$/.exec(request.url ?? '') ?? []
    const sent = await fieldsOf(request)
    if (asked !== token || isRevoked) return refuse(response, { code: 401, description: 'Unauthorized' })
    if (!isServed(method)) return refuse(response, { code: 404, description: 'Not Found' })
    const call: Call = { method, sent, atMs: clock.now() }
    calls.push(call)
    const plan = planned.find(one => one.left > 0 && one.which(call))
    if (plan !== undefined) plan.left -= 1
    const fault = plan?.fault
    if (fault === 'reset') return void response.destroy()
    if (fault === 'silent') return
    if (fault !== undefined && fault !== 'lost-reply') return refuse(response, fault)
    const broken = faultOf(method, sent)
    if (broken !== undefined) {
      faults.push(`${method}: ${broken.description}`)
      return refuse(response, broken)
    }
    const result = await done(method, sent)
    if (fault === 'lost-reply') return void response.destroy()
    if (isRefused(result)) return refuse(response, result)
    json(response, 200, { ok: true, result })
  }

  async function done(method: Method, sent: Sent): Promise<unknown> {
    switch (method) {
      case 'getMe':
        return { ...BOT, can_join_groups: true, can_read_all_group_messages: false, supports_inline_queries: false }
      case 'getUpdates':
        return webhook.isSet
          ? {
              code: 409,
              description:
                "Conflict: can't use getUpdates method while webhook is active; use deleteWebhook to delete the webhook first",
            }
          : isDeaf
            ? queue.hold(sent)
            : queue.poll(sent)
      case 'setWebhook':
        if (sent.drop_pending_updates === true) queue.drop()
        webhook.set(sent)
        return true
      case 'deleteWebhook':
        if (sent.drop_pending_updates === true) queue.drop()
        webhook.remove()
        return true
      case 'getWebhookInfo':
        return webhook.info(queue.waiting().length)
      case 'sendMessage':
      case 'sendPhoto':
        return there.send(sent)
      case 'editMessageText':
      case 'editMessageReplyMarkup':
        return there.edit(method, sent)
      case 'answerCallbackQuery':
        return there.answerPress(sent)
      case 'pinChatMessage':
        return there.pin(sent)
      case 'leaveChat':
        return there.leave(sent)
      case 'setMyCommands':
        return true
    }
  }

  function phoneOf(id: number, chat: Chat, from: User): Phone {
    const known = there.phoneOf(id)
    if (known !== undefined) return known
    const shown: Shown[] = []
    const made = phone(
      {
        add: queue.add,
        nextMessageId: there.nextMessageId,
        nextPressId: () => {
          pressIds += 1
          const press = `press-${pressIds}`
          there.pressed(press, id)
          return press
        },
        now: () => clock.now(),
        setBlocked: isBlocked => there.setBlocked(id, isBlocked),
      },
      from,
      chat,
      shown,
    )
    there.add(id, { chat, phone: made, shown })
    return made
  }

  return {
    root: `http://127.0.0.1:${(server.address() as AddressInfo).port}`,
    token,
    calls,
    faults,
    webhook,
    leftChats: there.left,
    isHeard: () => queue.isPolled() || webhook.isSet,
    underWay: () => begun,
    pending: () => queue.waiting().length,
    user: (id, more = {}) => {
      const from: User = { id, is_bot: false, first_name: 'Someone', ...more }
      return phoneOf(id, { id, type: 'private', first_name: from.first_name }, from)
    },
    group: id => phoneOf(id, { id, type: 'group', title: 'A group' }, { id: 55, is_bot: false, first_name: 'Someone' }),
    fail: (which, fault, times = 1) => void planned.push({ which, fault, left: times }),
    heal: () => void planned.splice(0),
    deafen() {
      isDeaf = true
    },
    revoke() {
      isRevoked = true
    },
    async stop() {
      queue.stop()
      webhook.stop()
      const closed = new Promise(resolve => server.close(resolve))
      server.closeAllConnections()
      await closed
    },
  }
}

const isServed = (method: string): method is Method => (SERVED as readonly string[]).includes(method)
const isRefused = (result: unknown): result is Refused =>
  typeof result === 'object' && result !== null && 'code' in result && 'description' in result

function refuse(response: ServerResponse, { code, description, parameters }: Refused): void {
  json(response, code, {
    ok: false,
    error_code: code,
    description,
    ...(parameters === undefined ? {} : { parameters }),
  })
}

function json(response: ServerResponse, status: number, body: unknown): void {
  response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(body))
}

/** The fields of a call, whether JSON or a form with files. */
async function fieldsOf(request: IncomingMessage): Promise<Sent> {
  const chunks: Buffer[] = []
  for await (const chunk of request) chunks.push(chunk as Buffer)
  const body = Buffer.concat(chunks)
  const type = request.headers['content-type'] ?? ''
  if (!type.startsWith('multipart/')) return body.length === 0 ? {} : (JSON.parse(body.toString('utf8')) as Sent)
  const form = await new Response(body, { headers: { 'content-type': type } }).formData()
  const fields: Record<string, unknown> = {}
  for (const [name, value] of form)
    fields[name] = typeof value === 'string' ? plain(value) : new Uint8Array(await value.arrayBuffer())
  return fields
}

/** In a form, numbers and objects are written as JSON. */
function plain(value: string): unknown {
  if (!/^(-?\d+|true|false|[{[].*)$/s.test(value)) return value
  try {
    return JSON.parse(value)
  } catch {
    return value
  }
}

export { bad }
