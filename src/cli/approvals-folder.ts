import { existsSync, mkdirSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { type Approval, readApprovals, type Withdrawal } from '../config/approval-file.ts'
import type { Subject } from '../config/approvals.ts'
import { writeWhole } from '../config/clinic-save.ts'
import type { FlowFiles } from '../flow/load.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { ApprovalNoted } from './bot-accounts.ts'

/**
 * The folder `approvals` beside a clinic's file: a file of approvals for each part, the content of each approved hash, so that
 * what changed since can be told, and the files it was made from, so that they can be put back. It belongs under the clinic's own
 * version control.
 */

const folderIn = (clinicDir: string): string => join(clinicDir, 'approvals')

/** Where the approvals of a part stand. */
export const approvalsFile = (clinicDir: string, id: string): string => join(folderIn(clinicDir), `${id}.yaml`)

/** The text of a part's approvals; undefined where there are none yet. */
export function approvalsText(clinicDir: string, id: string): string | undefined {
  const file = approvalsFile(clinicDir, id)
  return existsSync(file) ? readFileSync(file, 'utf8') : undefined
}

/** Ids that approvals stand for, whether such a part is still there or not. */
export function approvedIdsIn(clinicDir: string): readonly string[] {
  const folder = folderIn(clinicDir)
  if (!existsSync(folder)) return []
  return readdirSync(folder).flatMap(name => (name.endsWith('.yaml') ? [name.slice(0, -'.yaml'.length)] : []))
}

/** The content of a hash as it was when it was approved; undefined where it was not kept, or is not what the hash is of. */
export function approvedContent(clinicDir: string, hash: string): string | undefined {
  return textUnder(contentFile(clinicDir, hash), hash)
}

const contentFile = (clinicDir: string, hash: string): string => join(folderIn(clinicDir), 'contents', `${hash}.json`)
const filesFile = (clinicDir: string, hash: string): string =>
  join(folderIn(clinicDir), 'contents', `${hash}.files.json`)
const sourceFile = (clinicDir: string, hash: string): string => join(folderIn(clinicDir), 'sources', `${hash}.yaml`)

/** A text that is kept under its own hash; undefined where it is not there or is another. */
function textUnder(file: string, hash: string): string | undefined {
  const text = existsSync(file) ? readFileSync(file, 'utf8') : undefined
  return text !== undefined && sha256(text) === hash ? text : undefined
}

/** What is kept with an approval. */
export interface Approved extends Subject {
  readonly text: string
  /** The files it was made from, by their path below flows; left out for what is made from none. */
  readonly files?: FlowFiles
}

/** Adds an approval, durably, content first: an approval whose content is not kept would be told as a change of everything. */
export function addApproval(
  clinicDir: string,
  approved: Approved,
  approval: Pick<Approval, 'by' | 'at' | 'languages' | 'until'> & Partial<Pick<Approval, 'of'>>,
): void {
  mkdirSync(join(folderIn(clinicDir), 'contents'), { recursive: true })
  if (approved.files !== undefined) keepFiles(clinicDir, approved.hash, approved.files)
  writeWhole(contentFile(clinicDir, approved.hash), approved.text, 0o644)
  const { by, at, languages, until, of } = approval
  const ending = until === undefined ? '' : `, until: "${new Date(until).toISOString()}"`
  const scope = of === undefined ? '' : `, of: [${of.join(', ')}]`
  const line = `- { by: ${by}, at: "${new Date(at).toISOString()}", hash: ${JSON.stringify(approved.hash)}, languages: [${languages.join(', ')}]${ending}${scope} }`
  addLine(clinicDir, approved.id, line)
}

/** Adds a withdrawal, durably. */
export function addWithdrawal(clinicDir: string, id: string, { by, at, hash, why }: Omit<Withdrawal, 'line'>): void {
  const line = `- { by: ${by}, at: "${new Date(at).toISOString()}", withdraws: ${JSON.stringify(hash)}, why: ${JSON.stringify(why)} }`
  addLine(clinicDir, id, line)
}

function addLine(clinicDir: string, id: string, line: string): void {
  mkdirSync(folderIn(clinicDir), { recursive: true })
  const before =
    approvalsText(clinicDir, id) ??
    `# Approvals of "${id}", written by "smallhours approve". Lines are added, never changed.\n`
  writeWhole(approvalsFile(clinicDir, id), `${before.trimEnd()}\n${line}\n`, 0o644)
}

/** Each file under its own hash, once, and the list of them last. */
function keepFiles(clinicDir: string, hash: string, files: FlowFiles): void {
  mkdirSync(join(folderIn(clinicDir), 'sources'), { recursive: true })
  const list: Record<string, string> = {}
  for (const [path, text] of [...files].toSorted(([a], [b]) => (a < b ? -1 : 1))) {
    const own = sha256(text)
    list[path] = own
    if (textUnder(sourceFile(clinicDir, own), own) === undefined) writeWhole(sourceFile(clinicDir, own), text, 0o644)
  }
  writeWhole(filesFile(clinicDir, hash), `${JSON.stringify(list, null, 1)}\n`, 0o644)
}

/** The files an approved content was made from; undefined where one of them was not kept, or is not as it was. */
export function approvedFiles(clinicDir: string, hash: string): FlowFiles | undefined {
  const file = filesFile(clinicDir, hash)
  if (!existsSync(file)) return undefined
  const list = JSON.parse(readFileSync(file, 'utf8')) as Readonly<Record<string, string>>
  const files = new Map<string, string>()
  for (const [path, own] of Object.entries(list)) {
    const text = textUnder(sourceFile(clinicDir, own), own)
    if (text === undefined) return undefined
    files.set(path, text)
  }
  return files
}

/** Every approval and withdrawal of the folder, whether it counts or not. */
export function approvalsIn(clinicDir: string): readonly ApprovalNoted[] {
  return approvedIdsIn(clinicDir).flatMap(part => {
    const { approvals, withdrawals } = readApprovals(approvalsFile(clinicDir, part), approvalsText(clinicDir, part))
    return [
      ...approvals.map(({ by, hash }) => ({ part, by, hash, did: 'approved' as const })),
      ...withdrawals.map(({ by, hash }) => ({ part, by, hash, did: 'approval-withdrawn' as const })),
    ]
  })
}
