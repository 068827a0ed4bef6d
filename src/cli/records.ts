import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { loadClinic } from '../config/clinic-file.ts'
import { codeIn, parkedOf } from '../runtime/parking.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { addClinicKey, removeClinicKeys } from '../store/clinic-keys.ts'
import { photosKept } from '../store/photo-folder.ts'
import type { StoredCase } from '../store/store.ts'
import { before, type Instant, instant } from '../time/instant.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { type DataFolder, openDataFolder } from './data-folder.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { openSealedData, type SealedData } from './sealed-data.ts'

interface Call {
  readonly data: DataFolder
  readonly sealed: SealedData
  readonly retentionEnd: Instant
  readonly now: Instant
  readonly which: string | undefined
  readonly evenOpen: boolean
}

/** What an action found and did: lines for a person, and the same as one JSON document. */
interface Report {
  readonly lines: readonly string[]
  readonly json: Readonly<Record<string, unknown>>
  readonly isWell: boolean
}

const ACTIONS: Readonly<Record<string, (call: Call) => Promise<Report>>> = { erase, purge, keys, rotate, retire }

export const recordsCommand: Command = {
  name: 'records',
  summary: 'what is kept: "records erase CASE", "records purge", "records keys", "records rotate", "records retire"',
  usage: [
    'smallhours records erase CASE [--even-open]   destroys the key of one case, by its code or id',
    'smallhours records purge    erases closed cases older than the clinic keeps',
    "smallhours records keys     the clinic's keys and how many cases each locks",
    'smallhours records rotate   makes a new key and locks every case with it',
    'smallhours records retire   takes keys that lock nothing out of the file',
    'each with [--clinic FOLDER] [--data FOLDER] [--json]',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      'even-open': { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const [name = '', which] = positionals
    const action = Object.hasOwn(ACTIONS, name) ? ACTIONS[name] : undefined
    if (action === undefined) throw new CalledWrongly(`one of ${Object.keys(ACTIONS).join(', ')} was expected`)
    if (name === 'erase' && which === undefined) throw new CalledWrongly('the code or the id of a case was expected')
    if (name !== 'rotate' && !existsSync(values.data))
      throw new CalledWrongly(`--data ${values.data}: there is no such folder`)
    const now = systemClock().now()
    const { clinic, retention, store } = loadClinic(values.clinic, now)
    const data = openDataFolder(values.data, systemRandom())
    // A new folder of a clinic gets its first key here, and nowhere else: by somebody who will save a copy.
    if (name === 'rotate' && !existsSync(data.clinicKeysFile) && !existsSync(data.caseKeysFile))
      addClinicKey(data.clinicKeysFile)
    let unreadable = 0
    const sealed = await openSealedData({
      data,
      store,
      mode: clinic?.demonstration === true ? 'demonstration' : 'clinic',
      onUnreadable: () => {
        unreadable += 1
      },
      onFault: error => {
        throw error
      },
    })
    try {
      const retentionEnd = before(now, retention)
      const report = await action({ data, sealed, retentionEnd, now, which, evenOpen: values['even-open'] })
      if (values.json) print(JSON.stringify(report.json))
      else for (const line of report.lines) print(line)
      if (unreadable > 0) complain('Some cases cannot be read with the keys that are there.')
      return report.isWell ? 0 : 1
    } finally {
      await sealed.store.close()
    }
  },
}

async function erase({ sealed, which = '', now, evenOpen }: Call): Promise<Report> {
  const cases = await sealed.store.recent(instant(0))
  const found = cases.filter(stored => stored.caseId === which || isCode(stored, which))
  const refused = (line: string, why: string): Report => ({ lines: [line], json: { erased: [], why }, isWell: false })
  const [stored, another] = found
  if (another !== undefined) {
    return refused(`More than one case has that code: ${found.map(({ caseId }) => caseId).join(', ')}`, 'ambiguous')
  }
  if (stored === undefined) {
    if (sealed.keys.find(which) !== 'erased') return refused(`There is no case "${which}".`, 'no-such-case')
    // Once more, in case the first time was cut off.
    await sealed.store.erase(which, now)
    return { lines: ['That case was erased before.'], json: { erased: [], before: [which] }, isWell: true }
  }
  if (!stored.closed && !hasOutcome(stored) && !evenOpen) {
    return refused(
      'That case is open: a family may be waiting. Set an outcome on its page first. With --even-open it is erased all the same, and nobody is paged for it again.',
      'open',
    )
  }
  await sealed.store.erase(stored.caseId, now)
  return {
    lines: [`Erased. Copies made before can be read until they are gone: docs/operating/keys-and-erasure.md`],
    json: { erased: [stored.caseId] },
    isWell: true,
  }
}

function isCode({ state }: StoredCase, which: string): boolean {
  const code = parkedOf(state)?.parked.code ?? codeIn(state)
  return code !== undefined && code.toLowerCase() === which.trim().toLowerCase()
}

/** A case stays open for a while after its outcome was set; nobody waits for anything then. */
function hasOutcome({ state }: StoredCase): boolean {
  try {
    return (JSON.parse(state) as { readonly outcome?: unknown } | null)?.outcome !== undefined
  } catch {
    return false
  }
}

async function purge({ data, sealed, retentionEnd, now }: Call): Promise<Report> {
  const photosBefore = await photosKept(data.photosFolder)
  const erased = await sealed.store.purge(retentionEnd, now)
  const photos = photosBefore - (await photosKept(data.photosFolder))
  const lines = [
    `${erased.length} closed cases last changed before ${new Date(retentionEnd).toISOString()} were erased.`,
    ...(photos > 0 ? [`${photos} photos went with them.`] : []),
  ]
  return { lines, json: { erased, photos, before: retentionEnd }, isWell: true }
}

async function keys({ sealed }: Call): Promise<Report> {
  const uses = usesOf(sealed)
  const lines = uses.map(({ id, cases, newest }) => `${id}  locks ${cases} cases${newest ? ', the newest' : ''}`)
  const erased = sealed.keys.count() - uses.reduce((sum, { cases }) => sum + cases, 0)
  return { lines: [...lines, `${erased} cases were erased`], json: { keys: uses, erased }, isWell: true }
}

async function rotate({ data, sealed }: Call): Promise<Report> {
  // The key of a folder with no case in it is as new as another would be.
  const id = sealed.keys.count() === 0 ? sealed.clinicKeys().newest.id : addClinicKey(data.clinicKeysFile)
  const rewrapped = await sealed.keys.rewrap()
  const lines = [
    `The newest key is ${id}. ${rewrapped} cases that were locked with another are locked with it now.`,
    `Save a copy of ${data.clinicKeysFile} now, apart from every backup: without it no case can be read.`,
    'Then "smallhours records retire" takes out keys that lock nothing.',
  ]
  return { lines, json: { newest: id, rewrapped }, isWell: true }
}

async function retire({ data, sealed }: Call): Promise<Report> {
  const retired = await sealed.keys.whileNoneIsMade(() => {
    const unused = usesOf(sealed).filter(({ cases, newest }) => cases === 0 && !newest)
    if (unused.length > 0) removeClinicKeys(data.clinicKeysFile, new Set(unused.map(({ id }) => id)))
    return unused.map(({ id }) => id)
  })
  const lines =
    retired.length === 0
      ? ['No key to take out: each locks some case, or is the newest.']
      : [`Taken out: ${retired.join(', ')}. Destroy every copy of them: what old backups hold is then gone too.`]
  return { lines, json: { retired }, isWell: true }
}

function usesOf({ keys, clinicKeys }: SealedData) {
  const counts = keys.inUse()
  const { ids, newest } = clinicKeys()
  return ids.map(id => ({ id, cases: counts.get(id) ?? 0, newest: id === newest.id }))
}
