import type { Instant } from '../time/instant.ts'
import { demoMailReceiver } from './demo-mail-receiver.ts'
import { demoWebhookReceiver } from './demo-webhook-receiver.ts'
import type { Received } from './received.ts'

/** Receivers of a demonstration, on this machine only. Nobody real is reached. */
export interface DemoReceivers {
  /** Where the mail pager sends: 127.0.0.1, no encryption, no login. */
  readonly smtp: { readonly host: string; readonly port: number }
  /** Where the webhook pager sends. */
  readonly webhookUrl: string
  /** Where text messages go, on 127.0.0.1; present when asked for. */
  readonly smsPort?: number
  /** The last 50 received, latest first. */
  recent(): readonly Received[]
  /** Calls `listener` for every page from now on; returns a function that ends it. */
  onReceived(listener: (received: Received) => void): () => void
  stop(): Promise<void>
}

export interface DemoReceiversOptions {
  readonly clock: () => Instant
  /** The webhook pager's own secret: what is not signed with it is refused. */
  readonly webhookSecret: string
  /** Whether anybody is paged by text message. */
  readonly hasSms?: boolean
}

const keep = 50

/** Opens the receivers on free ports of 127.0.0.1. */
export async function openDemoReceivers(options: DemoReceiversOptions): Promise<DemoReceivers> {
  const listeners = new Set<(received: Received) => void>()
  let latest: readonly Received[] = []
  const take = (received: Omit<Received, 'at'>) => {
    const one = { at: options.clock(), ...received }
    latest = [one, ...latest].slice(0, keep)
    for (const listener of listeners) queueMicrotask(() => listener(one))
  }
  const mail = await demoMailReceiver(take)
  const webhook = await demoWebhookReceiver(take, options)
  const sms = options.hasSms === true ? await (await import('./demo-sms-receiver.ts')).demoSmsReceiver(take) : undefined
  return {
    smtp: { host: '127.0.0.1', port: mail.port },
    webhookUrl: `http://127.0.0.1:${webhook.port}/pages`,
    ...(sms === undefined ? {} : { smsPort: sms.port }),
    recent: () => latest,
    onReceived: listener => {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
    stop: async () => {
      listeners.clear()
      await Promise.all([mail.stop(), webhook.stop(), sms?.stop()])
    },
  }
}
