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

/** A demonstration pages its own receivers on this machine, whatever the clinic's file says: nobody real is woken. */
export async function demoPagers(now: () => Instant, secret: string): Promise<BotPagers> {
  const demo = await openDemoReceivers({ clock: now, webhookSecret: secret })
  const smtp = smtpPager({ ...demo.smtp, security: 'none', from: 'line@harbourlights.example.test' })
  const hook = webhookPager({ secrets: [secret], clock: now, loopbackHttp: true })
  const toDemo: Pager = {
    id: hook.id,
    page: page => hook.page({ ...page, address: demo.webhookUrl }),
    stop: () => hook.stop(),
  }
  return over(
    boardPager(),
    new Map([
      ['smtp', smtp],
      ['webhook', toDemo],
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
