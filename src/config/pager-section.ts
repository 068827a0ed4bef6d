import type { Clinic } from '../oncall/clinic.ts'
import { pagersShape } from './clinic-shapes.ts'
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
  readonly webhook?: {
    readonly secretFile: string
    /** Hosts inside the clinic's own network that may be called; all other private addresses are refused. */
    readonly privateHosts: readonly string[]
  }
}

/** The pagers' own section; a pager that is used and has no route is a problem outside a demonstration. */
export function pagersIn(reader: PartReader, clinic: Clinic): PagerRoutes {
  const read = reader.valueAt(['pagers']) === undefined ? {} : reader.part(['pagers'], pagersShape)
  if (read === undefined) return {}
  if (!clinic.demonstration) {
    const used = new Set([...clinic.people, ...clinic.desks].flatMap(one => one.pageAt.map(({ pager }) => pager)))
    for (const pager of ['smtp', 'webhook'] as const) {
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
  const { smtp, webhook } = read
  return {
    ...(smtp === undefined ? {} : { smtp: smtpRoute(smtp) }),
    ...(webhook === undefined
      ? {}
      : { webhook: { secretFile: webhook['secret-file'], privateHosts: webhook['private-hosts'] ?? [] } }),
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
