import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { isMap, parseDocument } from 'yaml'
import { readApprovals } from '../config/approval-file.ts'
import { type Subject, standingOf } from '../config/approvals.ts'
import { clinicHash } from '../config/clinic-edits.ts'
import { saveClinic, writeWhole } from '../config/clinic-save.ts'
import type { FlowFiles } from '../flow/load.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { approvalsFile, approvalsText, approvedContent, approvedFiles } from './approvals-folder.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { standings } from './guards.ts'
import { loadLine, type ReadLine } from './load-line.ts'

/** The files a part is made from; undefined for the settings, which stand in the clinic's file. */
export function approvedSources(clinicDir: string, flowsDir: string | undefined, part: string): FlowFiles | undefined {
  if (part === 'settings') return undefined
  const all = readFlowFiles(flowsDir ?? SHIPPED_FLOWS, join(clinicDir, 'flows'))
  const folders = new Set([part, 'shared'])
  return new Map([...all].filter(([path]) => folders.has(folderOf(path))))
}

const folderOf = (path: string): string => path.split('/')[0] ?? ''

export interface RollBackSituation {
  readonly clinicDir: string
  readonly flowsDir?: string
  readonly line: ReadLine
  readonly clinic: Clinic
  readonly part: string
  readonly at: Instant
}

/** What is put back, and where. */
export interface RollBackPlan {
  readonly clinicDir: string
  /** Hash that stands there afterwards. */
  readonly to: string
  /** Ids of those who approved it. */
  readonly by: readonly string[]
  /** Hash that stands there now; left out where nothing can be read there. */
  readonly before: { readonly before?: string }
  readonly isApprovedNow: boolean
  /** What is written, by path in the clinic's folder. */
  readonly files: readonly string[]
  /** Whole folders of flows, each with all its files. */
  readonly folders: ReadonlyMap<string, FlowFiles>
  /** The clinic's file, for settings. */
  readonly clinicFile?: { readonly text: string; readonly basedOn: string }
}

/**
 * Works out how a part goes back to the content that two clinicians approved last before the one that stands there. It is tried
 * on a copy first: exactly the approved content must come out, and no other part may lose its approval by it.
 */
export function planRollBack(situation: RollBackSituation): RollBackPlan | { readonly why: string } {
  const { clinicDir, line, clinic, part, at } = situation
  const now = line.approvables.find(({ id }) => id === part)
  const languages = now?.languages ?? []
  const target = approvedBefore({ id: part, languages }, now?.hash, { clinicDir, clinic, at })
  if (target === undefined)
    return {
      why: `${part} has no earlier content that two clinicians have approved${now === undefined ? ' (is it the name of a part?)' : ''}: see "smallhours approve ${part}". Withdraw it to have it served no more`,
    }
  const isApprovedNow = standings(clinicDir, line.approvables, clinic, at).some(
    ({ subject, isApproved }) => subject.id === part && isApproved,
  )
  const base = {
    clinicDir,
    to: target.hash,
    by: target.by,
    before: now === undefined ? {} : { before: now.hash },
    isApprovedNow,
  }
  const ways = waysBack(situation, target.hash)
  if (ways.length === 0)
    return {
      why: `the files of ${part} ${target.hash.slice(0, 12)} were not kept when it was approved: take them from the clinic's version control`,
    }
  let why = ''
  for (const way of ways) {
    const plan = { ...base, ...way }
    const fault = faultOf(situation, plan)
    if (fault === undefined) return plan
    why = fault
  }
  return { why }
}

/** A way to have a content again that was approved: what is written where. */
export type Way = Pick<RollBackPlan, 'files' | 'folders' | 'clinicFile'>

/** The newest content of a part that is approved as a whole and is not the one that stands there. */
export function approvedBefore(
  { id, languages }: Pick<Subject, 'id' | 'languages'>,
  current: string | undefined,
  {
    clinicDir,
    clinic,
    at,
  }: { readonly clinicDir: string; readonly clinic: Pick<Clinic, 'people'>; readonly at: Instant },
): { readonly hash: string; readonly by: readonly string[]; readonly at: number } | undefined {
  const file = approvalsFile(clinicDir, id)
  const text = approvalsText(clinicDir, id)
  const hashes = new Set(readApprovals(file, text).approvals.map(({ hash }) => hash))
  const whole = [...hashes].flatMap(hash => {
    if (hash === current) return []
    const { isApproved, counted } = standingOf({ id, hash, languages }, file, text, clinic, at)
    return isApproved ? [{ hash, by: counted.map(one => one.by), at: Math.max(...counted.map(one => one.at)) }] : []
  })
  return whole.toSorted((a, b) => b.at - a.at)[0]
}

type PartPlace = Pick<RollBackSituation, 'clinicDir' | 'flowsDir' | 'part'>

/** Ways to have an approved content of a part again, the one that touches least first; none where its files were not kept. */
export function waysBack(place: PartPlace, hash: string): readonly Way[] {
  return place.part === 'settings' ? [settingsBack(place, hash)] : filesBack(place, hash)
}

function filesBack({ clinicDir, flowsDir, part }: PartPlace, hash: string): readonly Way[] {
  const kept = approvedFiles(clinicDir, hash)
  if (kept === undefined) return []
  const all = readFlowFiles(flowsDir ?? SHIPPED_FLOWS, join(clinicDir, 'flows'))
  const keptIn = (folder: string): FlowFiles => new Map([...kept].filter(([path]) => folderOf(path) === folder))
  const sharedNow = [...all].filter(([path]) => folderOf(path) === 'shared')
  const shared = (isBack: (path: string) => boolean): FlowFiles =>
    new Map([...sharedNow.filter(([path]) => !isBack(path)), ...[...keptIn('shared')].filter(([path]) => isBack(path))])
  const own = keptIn(part)
  const ways: ReadonlyMap<string, FlowFiles>[] = []
  if (own.size > 0) ways.push(new Map([[part, own]]))
  else
    ways.push(
      new Map([
        ['shared', shared(path => path.startsWith(part === 'lexicon' ? 'shared/lexicon.' : 'shared/wording.'))],
      ]),
    )
  ways.push(new Map([...(own.size > 0 ? [[part, own] as const] : []), ['shared', keptIn('shared')]]))
  return ways.map(folders => ({ folders, files: [...folders.keys()].map(folder => `flows/${folder}/`) }))
}

/** The settings of the approved content, written into the clinic's file; comments and everything else stay. */
function settingsBack({ clinicDir }: PartPlace, hash: string): Way {
  const file = join(clinicDir, 'clinic.yaml')
  const before = readFileSync(file, 'utf8')
  const content = JSON.parse(approvedContent(clinicDir, hash) ?? '{}') as {
    settings?: Readonly<Record<string, unknown>>
  }
  const document = parseDocument(before)
  if (!isMap(document.get('settings'))) document.set('settings', document.createNode({}))
  for (const [id, value] of Object.entries(content.settings ?? {})) {
    const now = document.getIn(['settings', id])
    if (String(now) !== String(value)) document.setIn(['settings', id], value)
  }
  const text = document.toString({ lineWidth: 0 })
  return { folders: new Map(), files: ['clinic.yaml'], clinicFile: { text, basedOn: clinicHash(before) } }
}

/** Why a plan is not carried out, found on a copy of the clinic's folder; undefined where nothing is wrong. */
function faultOf(
  { clinicDir, flowsDir, line, clinic, part, at }: RollBackSituation,
  plan: RollBackPlan,
): string | undefined {
  const copy = mkdtempSync(join(tmpdir(), 'smallhours-rollback-'))
  try {
    cpSync(clinicDir, copy, { recursive: true })
    putBack({ ...plan, clinicDir: copy })
    const then = loadLine({ clinicDir: copy, ...(flowsDir === undefined ? {} : { flowsDir }), at })
    const hash = then.approvables.find(({ id }) => id === part)?.hash
    if (hash !== plan.to) {
      const grave = then.problems.find(({ severity }) => severity === 'problem')
      const because =
        grave === undefined ? 'it comes out as another content' : `${grave.file}:${grave.line} ${grave.found}`
      return `${part} cannot be put back to ${plan.to.slice(0, 12)}: ${because}. Take the files from the clinic's version control`
    }
    const isApprovedIn = (of: ReadLine) =>
      new Set(standings(clinicDir, of.approvables, clinic, at).flatMap(one => (one.isApproved ? [one.subject.id] : [])))
    const after = isApprovedIn(then)
    const lapsed = [...isApprovedIn(line)].filter(id => !after.has(id))
    if (lapsed.length === 0) return undefined
    return `putting ${part} back would take the approval from ${lapsed.join(', ')}, which share words or steps with it: put these back first, or withdraw ${part}`
  } finally {
    rmSync(copy, { recursive: true, force: true })
  }
}

/** Writes what a plan says: each folder beside and then put in place of the old one, the clinic's file whole or not at all. */
export function putBack({ clinicDir, folders, clinicFile }: Way & Pick<RollBackPlan, 'clinicDir'>): void {
  if (clinicFile !== undefined) {
    const saved = saveClinic(join(clinicDir, 'clinic.yaml'), clinicFile.text, clinicFile.basedOn)
    if (saved.kind === 'stale') throw new Error('the clinic file was changed meanwhile: run the command again')
  }
  for (const [folder, files] of folders) {
    const beside = join(clinicDir, `.put-back-${folder}`)
    const place = join(clinicDir, 'flows', folder)
    rmSync(beside, { recursive: true, force: true })
    mkdirSync(join(clinicDir, 'flows'), { recursive: true })
    mkdirSync(join(beside, 'new'), { recursive: true })
    for (const [path, text] of files) writeWhole(join(beside, 'new', path.slice(folder.length + 1)), text, 0o644)
    if (existsSync(place)) renameSync(place, join(beside, 'old'))
    renameSync(join(beside, 'new'), place)
    rmSync(beside, { recursive: true, force: true })
  }
}
