/** How updates come in: asked for or delivered, with its own start-up, and the watch over it. */
import type { TelegramRoute } from '../config/telegram-section.ts'
import type { Mounted } from '../http/server.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Log } from '../runtime/log.ts'
import type { TelegramFile } from '../store/sqlite/telegram-file.ts'
import { ASKED_FOR } from '../telegram/arrived.ts'
import type { apiOf } from '../telegram/connection.ts'
import { outcomeOf } from '../telegram/outcome.ts'
import { poller } from '../telegram/poll.ts'
import { taking } from '../telegram/take-once.ts'
import { type Deafness, watch } from '../telegram/watch.ts'
import { WEBHOOK_PATH, webhookDoor } from '../telegram/webhook.ts'
import { seconds } from '../time/instant.ts'
import type { JoinPorts } from './bot-telegram.ts'

type Update = Parameters<ReturnType<typeof taking>>[0]

export interface HearingOptions {
  readonly route: TelegramRoute
  readonly api: ReturnType<typeof apiOf>
  readonly clock: Clock
  readonly ports: Pick<JoinPorts, 'isStoreWell' | 'origin' | 'end'>
  readonly file: TelegramFile
  readonly log: Log
  readonly secret: string
  readonly commands: readonly {
    readonly language: string
    readonly commands: readonly { readonly command: string; readonly description: string }[]
  }[]
  readonly take: (update: Update) => Promise<void>
  readonly park: (update: Update) => void
  readonly notice: (what: Deafness) => Promise<unknown>
}

export interface Hearing {
  readonly mount: Mounted | undefined
  readonly trouble: ReturnType<typeof watch>['trouble']
  start(): void
  stop(): Promise<void>
}

/** When it was last heard is written down this often at most. */
const NOTED_EVERY_MS = seconds(30)
const RETRY_MOST_MS = seconds(30)

export function telegramHearing(options: HearingOptions): Hearing {
  const { route, api, clock, ports, file, log } = options
  const isWebhook = route.updates === 'webhook'
  let isStopped = false
  let cancelRetry: (() => void) | undefined
  let notedMs = Number.NEGATIVE_INFINITY

  function heard(count: number): void {
    watching.heard(count)
    if (clock.monotonicMs() - notedMs < NOTED_EVERY_MS) return
    notedMs = clock.monotonicMs()
    file.know('heard-at', String(Math.trunc(clock.now())))
  }

  const take = taking({
    take: options.take,
    park: async update => options.park(update),
    isStoreWell: ports.isStoreWell,
  })
  const polling = isWebhook
    ? undefined
    : poller({ api, take, clock, polled: heard, failed: fault => watching.failed(fault) })
  const door = isWebhook ? webhookDoor({ secret: options.secret, take, heard: () => heard(1) }) : undefined
  const address = () => `${ports.origin()}${WEBHOOK_PATH}`
  const setWebhook = () =>
    api.setWebhook(address(), { secret_token: options.secret, allowed_updates: ASKED_FOR, max_connections: 40 })
  const watching = watch({
    clock,
    look: async () => {
      try {
        return await api.getWebhookInfo()
      } catch (error) {
        return isTokenFault(error) ? 'token-refused' : undefined
      }
    },
    isTaking: () => polling?.isTaking ?? false,
    ...(isWebhook ? { webhook: { address, set: setWebhook } } : {}),
    async tell(what) {
      log({ what: 'telegram-silent', why: what })
      await options.notice(what)
    },
    renew: () => polling?.renew(),
    end: () => ports.end(),
  })

  /** Set up again and again until the server takes it: families of other channels are served meanwhile. */
  async function setUp(tries = 0): Promise<void> {
    if (isStopped) return
    try {
      if (isWebhook) await setWebhook()
      else await api.deleteWebhook({ drop_pending_updates: false })
      watching.heard(0)
      polling?.start()
      await introduce()
    } catch (error) {
      watching.failed(isTokenFault(error) ? 'token-refused' : 'cut-off')
      const wait = Math.min(RETRY_MOST_MS, 500 * 2 ** Math.min(10, tries))
      cancelRetry = clock.wake(clock.monotonicMs() + wait, () => void setUp(tries + 1))
    }
  }

  /** The bot's name, for links, and its commands: nice to have, and no reason to wait. */
  async function introduce(): Promise<void> {
    const { username } = await api.getMe()
    file.know('username', username)
    for (const [index, { language, commands }] of options.commands.entries())
      await api.setMyCommands(commands, index === 0 ? {} : { language_code: language.slice(0, 2) as never })
  }

  return {
    mount: door === undefined ? undefined : { path: WEBHOOK_PATH, fetch: request => door.fetch(request) },
    get trouble() {
      return watching.trouble
    },
    start() {
      watching.start()
      void setUp()
    },
    async stop() {
      isStopped = true
      cancelRetry?.()
      watching.stop()
      await polling?.stop()
    },
  }
}

function isTokenFault(error: unknown): boolean {
  const outcome = outcomeOf(error)
  return outcome.kind === 'failed' && outcome.reason === 'token-refused'
}
