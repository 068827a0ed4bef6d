import type { Clinic } from '../oncall/clinic.ts'
import { pagersShape } from './clinic-shapes.ts'
import { isLoopback, isReservedName } from './fiction.ts'
import type { PartReader } from './part-reader.ts'

/** How the clinic's pagers are reached; secrets stand in files of their own. */
export interface PagerRoutes {
  readonly smtp?: {
    readonly host: string
    readonly port: number
    readonly security: 'tls' | 'starttls' | 'none'
    readonly from: string
    readonly user?: string
    readonly passwordFile?: string
  }
  readonly sms?: {
    readonly host: string
    readonly port: number
    readonly security: 'tls' | 'none'
    readonly systemId: string
    readonly passwordFile: string
    readonly from: string
    /** Families may write to this number, and are answered there. */
    readonly takesFamilies: boolean
  }
  readonly webhook?: {
    readonly secretFile: string
    /** Hosts inside the clinic's own network that may be called; all other private addresses are refused. */
    readonly privateHosts: readonly string[]
    /** Demonstrations only: where "demo:" leads, on this machine (http, 127.0.0.1), in place of the built-in receiver. */
    readonly demoReceiver?: string
  }
}

/** Plain http to a port of this very machine. */
const ON_THIS_MACHINE = /^http:\/\/127\.0\.0\.1:\d{1,5}\/[\w/-]*$/

/** The pagers' own section; a pager that is used and has no route is a problem outside a demonstration. */
export function pagersIn(reader: PartReader, clinic: Clinic): PagerRoutes {
  const read = reader.valueAt(['pagers']) === undefined ? {} : reader.part(['pagers'], pagersShape)
  if (read === undefined) return {}
  if (!clinic.demonstration) {
    const used = new Set([...clinic.people, ...clinic.desks].flatMap(one => one.pageAt.map(({ pager }) => pager)))
    for (const pager of ['smtp', 'webhook', 'sms'] as const) {
      if (used.has(pager) && read[pager] === undefined) {
        reader.report(
          ['pagers', pager],
          'PAGER_WITHOUT_ROUTE',
          `no ${pager} under pagers`,
          `how ${pager} sends: it stands in a page-at`,
        )
      }
    }
  }
  const { smtp, webhook, sms } = read
  if (!clinic.demonstration && smtp !== undefined) reportMailServer(reader, smtp)
  return {
    ...(smtp === undefined ? {} : { smtp: smtpRoute(smtp) }),
    ...(webhook === undefined ? {} : { webhook: webhookRoute(reader, webhook, clinic.demonstration) }),
    ...(sms === undefined ? {} : { sms: smsRoute(sms) }),
  }
}

type WebhookWritten = NonNullable<(typeof pagersShape)['_output']['webhook']>

function webhookRoute(
  reader: PartReader,
  written: WebhookWritten,
  demonstration: boolean,
): NonNullable<PagerRoutes['webhook']> {
  const { 'secret-file': secretFile, 'private-hosts': privateHosts = [], 'demo-receiver': receiver } = written
  if (receiver === undefined) return { secretFile, privateHosts }
  if (demonstration && ON_THIS_MACHINE.test(receiver)) return { secretFile, privateHosts, demoReceiver: receiver }
  const expected = demonstration
    ? 'a receiver on this machine, like http://127.0.0.1:8025/pages'
    : 'no demo-receiver: it is for demonstrations'
  reader.report(['pagers', 'webhook', 'demo-receiver'], 'ADDRESS_UNREADABLE', `"${receiver}"`, expected)
  return { secretFile, privateHosts }
}

/** A mail server or a sender that is made up, or this machine itself: pages would be taken and reach nobody. */
function reportMailServer(reader: PartReader, { host, from }: SmtpWritten): void {
  const expected = 'the mail server of the clinic: what is sent there must reach people'
  const path = ['pagers', 'smtp']
  if (isLoopback(host)) reader.report([...path, 'host'], 'PAGER_LOOPBACK', `"${host}"`, expected)
  else if (isReservedName(host)) reader.report([...path, 'host'], 'ADDRESS_FICTION', `"${host}"`, expected)
  if (isReservedName(from)) {
    const real = 'an address of the clinic: mail from a made-up one is thrown away'
    reader.report([...path, 'from'], 'ADDRESS_FICTION', `"${from}"`, real)
  }
}

type SmtpWritten = NonNullable<(typeof pagersShape)['_output']['smtp']>

function smtpRoute({
  host,
  port,
  security,
  from,
  user,
  'password-file': passwordFile,
}: SmtpWritten): NonNullable<PagerRoutes['smtp']> {
  return {
    host,
    port,
    security,
    from,
    ...(user === undefined ? {} : { user }),
    ...(passwordFile === undefined ? {} : { passwordFile }),
  }
}

type SmsWritten = NonNullable<(typeof pagersShape)['_output']['sms']>

const smsRoute = ({
  'system-id': systemId,
  'password-file': passwordFile,
  'families-may-write': takesFamilies = false,
  ...centre
}: SmsWritten): NonNullable<PagerRoutes['sms']> => ({ ...centre, systemId, passwordFile, takesFamilies })
