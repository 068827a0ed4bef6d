import { existsSync, mkdirSync, renameSync, rmSync } from 'node:fs'
import { join } from 'node:path'
import type { TranscriptFault } from '../replay/reading.ts'
import { KEEPABLE, type Keepable } from '../replay/transcript.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { openAccountFile } from '../store/sqlite/account-file.ts'
import { type Instant, instant } from '../time/instant.ts'
import { argumentsOf, CalledWrongly, type Command, complain, countText, print } from './command.ts'
import { openDataFolder } from './data-folder.ts'
import { editionArchive } from './edition-archive.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { dataFolderSaid, folderSaid, toBeWritten } from './places-said.ts'
import { reportProblems } from './problems.ts'
import { filesIn } from './replay.ts'
import { openSealedData } from './sealed-data.ts'
import { SOFTWARE } from './software.ts'
import { type ExportPorts, type ExportWish, exportTranscript } from './transcript-export.ts'
import { faultText, told } from './transcript-file.ts'
import { copiedInto } from './transcript-import.ts'
import { transcriptNames } from './transcript-names.ts'

export const transcriptCommand: Command = {
  name: 'transcript',
  summary:
    'what happened to cases, as a file: "transcript export FILE", "transcript import FILES", "transcript check FILES"',
  usage: [
    'smallhours transcript export FILE [--case CODE]… [--from DAY] [--until DAY] [--with-flows] [--anew]',
    '                                  [--keep words,names,numbers --purpose TEXT]',
    '    De-identified, unless a purpose is named; either way a line of the audit trail. What was broken off is gone on with.',
    'smallhours transcript import FILES…   takes whole cases of other files into DATA/transcripts; what was broken off is gone on with',
    'smallhours transcript check FILES…    says by line what is not as it was written',
    'each with [--clinic FOLDER] [--data FOLDER] [--json]. A file may be packed (.gz) where it is read.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      case: { type: 'string', multiple: true, default: [] },
      from: { type: 'string' },
      until: { type: 'string' },
      keep: { type: 'string' },
      purpose: { type: 'string' },
      'with-flows': { type: 'boolean', default: false },
      anew: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const [action, ...files] = positionals
    if (action === 'export') {
      const [file, ...more] = files
      if (file === undefined || more.length > 0) throw new CalledWrongly('one file to write was expected')
      const kept = keptOf(values.keep, values.purpose)
      const [from, until] = [dayOf(values.from, '--from') ?? instant(0), dayOf(values.until, '--until') ?? LAST]
      if (until <= from)
        throw new CalledWrongly(
          `--until ${values.until}: a day after --from was expected; cases of that day are left out`,
        )
      return exported(values.clinic, values.data, values.json, {
        file,
        ...kept,
        withFlows: values['with-flows'],
        anew: values.anew,
        cases: values.case,
        ...{ from, until },
        progress: (done, of) => complain(`${done.toLocaleString('en')} of ${of.toLocaleString('en')} cases`),
      })
    }
    if (action !== 'import' && action !== 'check') throw new CalledWrongly('"export", "import" or "check" was expected')
    const named = filesIn(files)
    if (action === 'check') return checked(named, values.json)
    return imported(named, folderSaid('--data', values.data), values.json)
  },
}

function keptOf(keep: string | undefined, purpose: string | undefined): Pick<ExportWish, 'kept' | 'purpose'> {
  if (keep === undefined) {
    if (purpose !== undefined) throw new CalledWrongly('--purpose: only where --keep says what is kept')
    return { kept: [] }
  }
  const kept = keep.split(',')
  const unknown = kept.find(each => !(KEEPABLE as readonly string[]).includes(each))
  if (unknown !== undefined) throw new CalledWrongly(`--keep ${unknown}: some of ${KEEPABLE.join(', ')} was expected`)
  if (purpose === undefined || !/^[\p{L}\p{N}][\p{L}\p{N} .,:#/-]{4,150}$/u.test(purpose))
    throw new CalledWrongly(
      '--purpose was expected, what it is kept for, in 5 to 150 letters and figures: "complaint 12, for its two reviewers". No name',
    )
  return { kept: [...new Set(kept)] as Keepable[], purpose }
}

/** The last instant there is. */
const LAST = instant(8.64e15)

function dayOf(said: string | undefined, option: string): Instant | undefined {
  if (said === undefined) return undefined
  const at = /^\d{4}-\d{2}-\d{2}(T[\d:.]+Z)?$/.test(said) ? Date.parse(said) : Number.NaN
  // 30 February would be read as 2 March.
  if (Number.isNaN(at) || new Date(at).toISOString().slice(0, 10) !== said.slice(0, 10))
    throw new CalledWrongly(`${option} ${said}: a day (2026-03-01) or an instant (2026-03-01T07:10:00Z) was expected`)
  return instant(at)
}

/** Opens what an export reads, and notes the export in the audit trail before a byte is written. */
export async function withExportPorts<T>(
  { clinicDir, dataDir, kept }: { clinicDir: string; dataDir: string; kept: readonly Keepable[] },
  noted: { did: 'transcript-exported' | 'incident-gathered'; on: string; after: string },
  work: (ports: ExportPorts, key: Buffer) => Promise<T>,
): Promise<T | undefined> {
  dataFolderSaid(dataDir)
  const now = systemClock().now()
  const { loaded, problems } = loadLine({ clinicDir, at: now })
  if (loaded === undefined) {
    reportProblems(problems)
    return undefined
  }
  const data = openDataFolder(dataDir, systemRandom())
  const { clinic } = loaded.line
  let unreadable = 0
  const sealed = await openSealedData({
    data,
    store: loaded.store,
    mode: clinic.demonstration ? 'demonstration' : 'clinic',
    onUnreadable: () => {
      unreadable += 1
    },
    onFault: error => {
      throw error
    },
  })
  try {
    const trail = openAccountFile(data.accountsFile)
    try {
      await trail.change({ at: now, who: 'machine', ...noted }, [])
    } finally {
      await trail.close()
    }
    const desks = new Set(clinic.desks.map(({ id }) => id))
    const names = transcriptNames(data.key, kept, desks)
    const ports = { store: sealed.store, archive: editionArchive(dataDir), loaded, names, now, software: SOFTWARE }
    const done = await work(ports, data.key)
    if (unreadable > 0) complain(`${unreadable} stored texts cannot be read with the keys that are there.`)
    return done
  } finally {
    await sealed.store.close()
  }
}

async function exported(clinicDir: string, dataDir: string, isJson: boolean, wish: ExportWish): Promise<number> {
  toBeWritten(wish.file)
  const on = wish.cases.length > 0 ? `${wish.cases.length} cases` : 'cases of a time'
  const after = wish.kept.length === 0 ? 'de-identified' : `with ${wish.kept.join(', ')} for: ${wish.purpose ?? ''}`
  const noted = { did: 'transcript-exported', on, after } as const
  const done = await withExportPorts({ clinicDir, dataDir, kept: wish.kept }, noted, ports =>
    exportTranscript(ports, wish),
  )
  if (done === undefined) return 1
  if (isJson) print(JSON.stringify({ file: wish.file, ...done }))
  else {
    const before = done.before > 0 ? `, ${done.before} of them by the run that was broken off` : ''
    print(`${wish.file}: ${countText(done.cases, 'case')}, ${countText(done.steps, 'step')}${before}; ${after}.`)
    if (done.leftOut > 0) print(`${countText(done.leftOut, 'case')} left out: erased, or not to be read whole.`)
    print(`Its end, to be noted elsewhere: ${done.chain}`)
  }
  const lacking = wish.cases.length - done.cases
  if (lacking <= 0) return 0
  complain(
    `transcript: of the cases that were named, ${countText(lacking, 'case')} could not be found, or not be read whole`,
  )
  return 1
}

async function checked(files: readonly string[], isJson: boolean): Promise<number> {
  const faults: (TranscriptFault & { file: string })[] = []
  const counted = { cases: 0, steps: 0, leftOut: 0, faults: 0 }
  for await (const { file, faults: found, whole, leftOut } of told(files, systemClock().now())) {
    counted.cases += whole === undefined ? 0 : 1
    counted.steps += whole?.steps.length ?? 0
    counted.leftOut += leftOut
    counted.faults += found.length
    for (const fault of found) {
      if (!isJson) complain(faultText(file, fault))
      else if (faults.length < FAULTS_MOST) faults.push({ file, ...fault })
    }
  }
  if (isJson) print(JSON.stringify({ ...counted, faults, more: counted.faults - faults.length }))
  else
    print(
      `${countText(counted.cases, 'case')} whole, ${countText(counted.steps, 'step')}; ${countText(counted.leftOut, 'case')} left out.`,
    )
  return counted.faults === 0 ? 0 : 1
}

/** Faults that a JSON answer lists; the rest is counted. */
const FAULTS_MOST = 10_000

/** Each file's whole cases under a chain of their own; the name is that chain, never anything the file says. */
async function imported(files: readonly string[], dataDir: string, isJson: boolean): Promise<number> {
  const folder = join(dataDir, 'transcripts')
  mkdirSync(folder, { recursive: true, mode: 0o700 })
  const taken: { from: string; file?: string; cases: number; before: number; leftOut: number; faults: number }[] = []
  for (const from of files) {
    const { beside, chain, ...one } = await copiedInto(folder, from)
    const file = beside === undefined ? undefined : join(folder, `${chain}.jsonl`)
    taken.push({ from, ...(file === undefined ? {} : { file }), ...one })
    if (beside !== undefined && file !== undefined) putInPlace(beside, file)
  }
  if (isJson) print(JSON.stringify({ imported: taken }))
  else
    for (const { from, file, cases, before, leftOut } of taken) {
      const gone = before > 0 ? `, ${before} of them by the run that was broken off` : ''
      print(
        `${from}: ${countText(cases, 'case')}${gone}${file === undefined ? ', nothing taken' : ` in ${file}`}; ${leftOut} left out.`,
      )
    }
  return taken.every(({ faults }) => faults === 0) ? 0 : 1
}

function putInPlace(beside: string, file: string): void {
  if (existsSync(file)) {
    rmSync(beside)
    complain(`${file}: imported before.`)
  } else renameSync(beside, file)
}
