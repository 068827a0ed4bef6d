import { readFileSync } from 'node:fs'
import type { LoadedClinic } from '../config/clinic-file.ts'
import { type BoardPager, boardPager } from '../pagers/board.ts'
import { type DemoReceivers, openDemoReceivers } from '../pagers/demo-receivers.ts'
import type { Pager } from '../pagers/pager.ts'
import { smtpPager } from '../pagers/smtp.ts'
import { webhookPager } from '../pagers/webhook.ts'
import type { Instant } from '../time/instant.ts'

export interface BotPagers {
  readonly board: BoardPager
  of(id: string): Pager | undefined
  /** Present in a demonstration: where mail and webhooks really went. */
  readonly demo?: DemoReceivers
  stop(): Promise<void>
}

/**
 * A demonstration pages receivers on this machine, whatever addresses the clinic's file gives: nobody real is woken. They
 * are its own, or other programs of this machine where the file names them: a mail server on 127.0.0.1, a `demo-receiver`.
 */
export async function demoPagers(
  now: () => Instant,
  secret: string,
  routes: LoadedClinic['pagers'] = {},
): Promise<BotPagers> {
  const mail = routes.smtp?.host === '127.0.0.1' ? routes.smtp : undefined
  const hook = routes.webhook?.demoReceiver === undefined ? undefined : routes.webhook
  const demo =
    mail !== undefined && hook !== undefined
      ? undefined
      : await openDemoReceivers({ clock: now, webhookSecret: secret })
  const to = mail ?? { host: '127.0.0.1', port: 0, ...demo?.smtp, from: 'line@harbourlights.example.test' }
  const secrets = [hook === undefined ? secret : secretIn(hook.secretFile)] as const
  const signed = webhookPager({ secrets, clock: now, loopbackHttp: true })
  const receiver = hook?.demoReceiver ?? demo?.webhookUrl ?? ''
  const toReceiver: Pager = {
    id: signed.id,
    page: page => signed.page({ ...page, address: receiver }),
    stop: () => signed.stop(),
  }
  return over(
    boardPager(),
    new Map([
      ['smtp', smtpPager({ host: to.host, port: to.port, from: to.from, security: 'none' })],
      ['webhook', toReceiver],
    ]),
    demo,
  )
}

/** The pagers a clinic's file gives routes for. Secrets are read from the files it names. */
export function clinicPagers(routes: LoadedClinic['pagers'], now: () => Instant): BotPagers {
  const pagers = new Map<string, Pager>()
  if (routes.smtp !== undefined) {
    const { user, passwordFile, ...smtp } = routes.smtp
    const auth =
      user === undefined || passwordFile === undefined ? {} : { auth: { user, pass: secretIn(passwordFile) } }
    pagers.set('smtp', smtpPager({ ...smtp, ...auth }))
  }
  if (routes.webhook !== undefined) {
    pagers.set(
      'webhook',
      webhookPager({
        secrets: [secretIn(routes.webhook.secretFile)],
        clock: now,
        privateHosts: routes.webhook.privateHosts,
      }),
    )
  }
  return over(boardPager(), pagers)
}

const secretIn = (file: string): string => readFileSync(file, 'utf8').trim()

function over(board: BoardPager, others: ReadonlyMap<string, Pager>, demo?: DemoReceivers): BotPagers {
  return {
    board,
    of: id => (id === board.id ? board : others.get(id)),
    ...(demo === undefined ? {} : { demo }),
    async stop() {
      await Promise.all([...others.values()].map(pager => pager.stop()))
      await demo?.stop()
    },
  }
}
