/** All guards together: what `serve` refuses for and `ready` tells. Looked at in one go, so that one run tells everything. */
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { type Standing, standingOf } from '../config/approvals.ts'
import type { LoadedClinic } from '../config/clinic-file.ts'
import { type Refusal, refusalOf } from '../config/guard.ts'
import {
  datesRunOut,
  emergencyUnlikely,
  inventedTexts,
  placeholdersIn,
  secretsIn,
  settingsUnset,
} from '../config/written-guards.ts'
import { readYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { elapsed, hours, type Instant } from '../time/instant.ts'
import type { Again } from './again.ts'
import { type Approvable, decidingSettings } from './approvable.ts'
import { approvalsFile, approvalsText, approvedIdsIn } from './approvals-folder.ts'
import { lastAliveIn } from './data-folder.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from './load-line.ts'
import { dataGuards, hostGuards, keyGuards, secretGuards } from './machine-guards.ts'

export interface GuardSituation {
  readonly clinicDir: string
  readonly flowsDir?: string
  readonly dataDir: string
  readonly host: string
  readonly at: Instant
  /** Of the user the process runs as; undefined where there is none. */
  readonly uid: number | undefined
  /** What stands in memory is used where its files are the same. */
  readonly again?: Again
}

export interface Guarded {
  /** The clinic's own file as it was read, whether or not flows can be. */
  readonly clinic: LoadedClinic
  /** Present where clinic and flows can be read. Whether it may be served: see `standsInTheWay`. */
  readonly loaded?: LoadedLine
  readonly isDemonstration: boolean
  readonly refusals: readonly Refusal[]
  /** The line lived on this data folder within the last day: what only time has brought does not hold it back. */
  readonly wasServing: boolean
}

/** A start within this time of the last sign of life is a restart: after a crash or an update, in the middle of a night. */
const RESTART_WITHIN = hours(24)

/** Looks at everything. Reads only; apart from a file that is written into the data folder and removed at once. */
export function guarded(situation: GuardSituation): Guarded {
  const { clinicDir, flowsDir, dataDir, at } = situation
  const { loaded, problems, clinic, flows, approvables } = loadLine({
    clinicDir,
    ...(flowsDir === undefined ? {} : { flowsDir }),
    at,
    again: situation.again,
  })
  const fromFiles = problems.map(refusalOf)
  const isDemonstration = clinic.asRead?.demonstration ?? false
  const lastAlive = lastAliveIn(dataDir)
  const wasServing = lastAlive !== undefined && elapsed(lastAlive, at) <= RESTART_WITHIN
  const base = { clinic, ...(loaded === undefined ? {} : { loaded }), isDemonstration, wasServing }
  if (isDemonstration) return { ...base, refusals: fromFiles }
  const { yaml, asRead } = clinic
  const written = yaml === undefined ? [] : [...placeholdersIn(yaml, inventedNames()), ...secretsIn(yaml)]
  const readOf =
    yaml === undefined || asRead === undefined
      ? []
      : [
          ...(asRead.numbers.emergency.number === '' ? [] : emergencyUnlikely(yaml, asRead)),
          ...(flows === undefined ? [] : settingsUnset(yaml, decidingSettings(flows))),
          ...datesRunOut(yaml, asRead, at),
        ]
  const approvals = asRead === undefined ? [] : approvalGuards(clinicDir, approvables, asRead, at)
  const machine = [
    ...secretGuards(clinic.pagers, clinic.signIn, clinic.store, clinic.telegram),
    ...keyGuards(dataDir),
    ...dataGuards(dataDir),
    ...hostGuards({ host: situation.host, webAddress: asRead?.webAddress, uid: situation.uid }),
  ]
  return { ...base, refusals: [...fromFiles, ...written, ...readOf, ...approvals, ...machine] }
}

/** Whether a refusal keeps this start from serving. */
export function standsInTheWay({ severity, isByTime }: Refusal, { wasServing }: Guarded): boolean {
  return severity === 'refused' && !(isByTime === true && wasServing)
}

/** What keeps a line from being served. A hole in an invented rota is no reason not to look at the demonstration. */
export function refusedIn(found: Guarded): readonly Refusal[] {
  const inTheWay = found.refusals.filter(one => standsInTheWay(one, found))
  return found.isDemonstration ? inTheWay.filter(one => one.isByTime !== true) : inTheWay
}

/** How every part stands that a clinic approves, in the order of a list. */
export function standings(
  clinicDir: string,
  approvables: readonly Approvable[],
  clinic: Pick<Clinic, 'people'>,
  at: Instant,
): readonly (Standing & { readonly subject: Approvable })[] {
  return approvables.map(subject => ({
    ...standingOf(subject, approvalsFile(clinicDir, subject.id), approvalsText(clinicDir, subject.id), clinic, at),
    subject,
  }))
}

function approvalGuards(
  clinicDir: string,
  approvables: readonly Approvable[],
  clinic: Clinic,
  at: Instant,
): readonly Refusal[] {
  const ids = new Set(approvables.map(({ id }) => id))
  const ofNothing = approvedIdsIn(clinicDir).filter(id => !ids.has(id))
  return [
    ...standings(clinicDir, approvables, clinic, at).flatMap(({ refusals }) => refusals),
    ...ofNothing.map(
      (id): Refusal => ({
        guard: 'approvals',
        code: 'APPROVAL_OF_NOTHING',
        where: approvalsFile(clinicDir, id),
        found: `approvals of "${id}", which is not served`,
        expected: `one of ${[...ids].join(', ')}`,
        todo: 'nothing, if the flow was taken away on purpose: approvals are kept as history',
        severity: 'warning',
      }),
    ),
  ]
}

/** Names and addresses of the clinic that ships with the bot. */
function inventedNames(): ReadonlySet<string> {
  const file = join(DEMO_CLINIC, 'clinic.yaml')
  const { yaml } = readYaml(file, readFileSync(file, 'utf8'))
  return inventedTexts(yaml?.value)
}
