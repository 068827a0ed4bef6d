import { readFileSync } from 'node:fs'
import type { Wording } from '../channels/web-page.ts'
import type { LoadedClinic } from '../config/clinic-file.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { type BoardPager, boardPager } from '../pagers/board.ts'
import { type DemoReceivers, openDemoReceivers } from '../pagers/demo-receivers.ts'
import type { Pager } from '../pagers/pager.ts'
import type { SmtpPagerOptions } from '../pagers/smtp.ts'
import { webhookPager } from '../pagers/webhook.ts'
import type { Instant } from '../time/instant.ts'
import type { BotSms, ReceiptsKept } from './bot-sms.ts'

export interface BotPagers {
  readonly board: BoardPager
  of(id: string): Pager | undefined
  /** Present in a demonstration: where mail, webhooks and text messages really went. */
  readonly demo?: DemoReceivers
  /** Present where somebody is paged by text message. */
  readonly sms?: BotSms
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
  sms?: { readonly wording: () => Wording },
): Promise<BotPagers> {
  const mail = routes.smtp?.host === '127.0.0.1' ? routes.smtp : undefined
  const hook = routes.webhook?.demoReceiver === undefined ? undefined : routes.webhook
  const demo =
    mail !== undefined && hook !== undefined
      ? undefined
      : await openDemoReceivers({ clock: now, webhookSecret: secret, hasSms: sms !== undefined })
  const to = mail ?? { host: '127.0.0.1', port: 0, ...demo?.smtp, from: 'line@harbourlights.example.test' }
  const secrets = [hook === undefined ? secret : secretIn(hook.secretFile)] as const
  const signed = webhookPager({ secrets, clock: now, loopbackHttp: true })
  const receiver = hook?.demoReceiver ?? demo?.webhookUrl ?? ''
  const toReceiver: Pager = {
    id: signed.id,
    page: page => signed.page({ ...page, address: receiver }),
    stop: () => signed.stop(),
  }
  const texts =
    sms === undefined || demo?.smsPort === undefined ? undefined : await demoSms(demo.smsPort, now, sms.wording)
  return over(
    boardPager(),
    new Map([
      ...(texts === undefined ? [] : [['sms', texts.pager] as const]),
      ['smtp', await byMail({ host: to.host, port: to.port, from: to.from, security: 'none' })],
      ['webhook', toReceiver],
    ]),
    demo,
    texts,
  )
}

/** The pagers a clinic's file gives routes for. Secrets are read from the files it names. */
export async function clinicPagers(
  routes: LoadedClinic['pagers'],
  now: () => Instant,
  wording: () => Wording,
  kept?: ReceiptsKept,
): Promise<BotPagers> {
  const pagers = new Map<string, Pager>()
  if (routes.smtp !== undefined) {
    const { user, passwordFile, ...smtp } = routes.smtp
    const auth =
      user === undefined || passwordFile === undefined ? {} : { auth: { user, pass: secretIn(passwordFile) } }
    pagers.set('smtp', await byMail({ ...smtp, ...auth, repeatLabel: () => wording()('sms-repeat') }))
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
  const sms =
    routes.sms === undefined ? undefined : (await import('./bot-sms.ts')).openSms(routes.sms, now, wording, kept)
  if (sms !== undefined) pagers.set('sms', sms.pager)
  return over(boardPager(), pagers, undefined, sms)
}

/** Read at the start, and only where somebody is paged so: a page must not be what finds out that it does not load. */
async function byMail(options: SmtpPagerOptions): Promise<Pager> {
  const { smtpPager } = await import('../pagers/smtp.ts')
  return smtpPager(options)
}

const secretIn = (file: string): string => readFileSync(file, 'utf8').trim()

/** The demonstration's own centre, which lets anybody in and sends nothing on. */
async function demoSms(port: number, now: () => Instant, wording: () => Wording): Promise<BotSms> {
  const { smsOver } = await import('./bot-sms.ts')
  const route = {
    host: '127.0.0.1',
    port,
    security: 'none',
    systemId: 'demo',
    password: 'demo',
    from: 'Clinic',
  } as const
  return smsOver(route, now, wording)
}

function over(board: BoardPager, others: ReadonlyMap<string, Pager>, demo?: DemoReceivers, sms?: BotSms): BotPagers {
  return {
    board,
    of: id => (id === board.id ? board : others.get(id)),
    ...(demo === undefined ? {} : { demo }),
    ...(sms === undefined ? {} : { sms }),
    async stop() {
      await Promise.all([...others.values()].map(pager => pager.stop()))
      await demo?.stop()
    },
  }
}

/** Whether anybody of the clinic is paged by text message. */
export const pagesBySms = ({ people, desks }: Clinic): boolean =>
  [...people, ...desks].some(({ pageAt }) => pageAt.some(({ pager }) => pager === 'sms'))
