/** The line as it would be: other flows, settings or rota in place of those a transcript was made on. */
import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { parse } from 'yaml'
import type { Line } from '../case/line.ts'
import { loadClinic } from '../config/clinic-file.ts'
import { settingsWith } from '../config/settings.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { clinicOf, type Edition, keptClinic } from '../replay/edition.ts'
import type { TranscriptHead } from '../replay/transcript.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { CalledWrongly } from './command.ts'
import { openDataFolder } from './data-folder.ts'
import type { ShelvedFlows } from './flow-shelf.ts'
import { reportProblems } from './problems.ts'
import { transcriptNames } from './transcript-names.ts'

/** What is to be other than it was. */
export interface Changes {
  readonly flows?: ShelvedFlows
  /** As a clinic writes them. */
  readonly settings?: Readonly<Record<string, unknown>>
  readonly clinic?: Clinic
  readonly data?: string
}

/** `id=value`, or a file with a map of them. Values as in a clinic's file. */
export function settingsSaid(said: readonly string[]): Readonly<Record<string, unknown>> | undefined {
  if (said.length === 0) return undefined
  const all: Record<string, unknown> = {}
  for (const one of said) {
    const [, id, value] = /^([a-z0-9-]+)=(.+)$/s.exec(one) ?? []
    if (id !== undefined && value !== undefined) all[id] = parse(value, { version: '1.2' })
    else if (existsSync(one)) {
      const read: unknown = parse(readFileSync(one, 'utf8'), { version: '1.2' })
      const map = (read as { settings?: unknown } | null)?.settings ?? read
      if (typeof map !== 'object' || map === null || Array.isArray(map))
        throw new CalledWrongly(`--settings ${one}: a map of settings was expected`)
      Object.assign(all, map)
    } else throw new CalledWrongly(`--settings ${one}: "id=value" or a file was expected`)
  }
  return all
}

/** The clinic of a folder, whose people, hours, rota and ladder are to hold. */
export function clinicSaid(folder: string | undefined): Clinic | undefined {
  if (folder === undefined) return undefined
  if (!existsSync(join(folder, 'clinic.yaml')))
    throw new CalledWrongly(`--rota ${folder}: a folder with a clinic.yaml was expected`)
  const { clinic, problems } = loadClinic(folder, systemClock().now())
  if (clinic !== undefined) return clinic
  reportProblems(problems)
  throw new CalledWrongly(`--rota ${folder}: its clinic.yaml cannot be used`)
}

/** @throws CalledWrongly where a setting is none, or names of the transcript cannot be told */
export function otherLine(changes: Changes, head: TranscriptHead): (was: Line, edition: Edition) => Line {
  const clinic = changes.clinic === undefined ? undefined : namedAlike(changes.clinic, head, changes.data)
  return (was, edition) => {
    const settings = changes.settings === undefined ? edition.settings : settingsOver(edition, changes.settings)
    return {
      ...was,
      ...(changes.flows === undefined ? {} : { flows: changes.flows.set, hashes: changes.flows.hashes }),
      settings,
      ...(clinic === undefined
        ? {}
        : {
            clinic: {
              ...was.clinic,
              people: clinic.people,
              desks: clinic.desks,
              opening: clinic.opening,
              rota: clinic.rota,
              ladder: clinic.ladder,
            },
          }),
    }
  }
}

function settingsOver({ settings }: Edition, over: Readonly<Record<string, unknown>>): Line['settings'] {
  const { settings: changed, faults } = settingsWith(settings as never, over)
  const [fault] = faults
  if (fault !== undefined) throw new CalledWrongly(`--settings: ${fault.found}: expected ${fault.expected}`)
  return changed
}

/** People of the other rota under the names that the transcript has for them: else every page would go to a stranger. */
function namedAlike(clinic: Clinic, head: TranscriptHead, data: string | undefined): Clinic {
  if (head.kept.includes('names')) return clinic
  if (data === undefined)
    throw new CalledWrongly(
      '--rota: names were taken out of the transcript; --data with the data folder it comes from was expected, whose key tells who is who',
    )
  const { key } = openDataFolder(data, systemRandom())
  const names = transcriptNames(key, [], new Set(clinic.desks.map(({ id }) => id)))
  return clinicOf(JSON.parse(JSON.stringify(keptClinic(clinic, names))))
}
