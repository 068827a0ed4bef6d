import {
  closeSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  renameSync,
  writeSync,
} from 'node:fs'
import { join } from 'node:path'
import type { Approval, Subject } from '../config/approvals.ts'
import { sha256 } from '../runtime/system-clock.ts'

/**
 * The folder `approvals` beside a clinic's file: a file of approvals for each part, and the content of each approved hash,
 * so that what changed since can be told. It belongs under the clinic's own version control.
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
  const file = contentFile(clinicDir, hash)
  const text = existsSync(file) ? readFileSync(file, 'utf8') : undefined
  return text !== undefined && sha256(text) === hash ? text : undefined
}

const contentFile = (clinicDir: string, hash: string): string => join(folderIn(clinicDir), 'contents', `${hash}.json`)

/** Adds an approval, durably, content first: an approval whose content is not kept would be told as a change of everything. */
export function addApproval(
  clinicDir: string,
  subject: Subject & { readonly text: string },
  approval: Pick<Approval, 'by' | 'at' | 'languages'>,
): void {
  mkdirSync(join(folderIn(clinicDir), 'contents'), { recursive: true })
  writeWhole(contentFile(clinicDir, subject.hash), subject.text)
  const file = approvalsFile(clinicDir, subject.id)
  const before =
    approvalsText(clinicDir, subject.id) ??
    `# Approvals of "${subject.id}", written by "smallhours approve". Lines are added, never changed.\n`
  const line = `- { by: ${approval.by}, at: "${new Date(approval.at).toISOString()}", hash: ${JSON.stringify(subject.hash)}, languages: [${approval.languages.join(', ')}] }\n`
  writeWhole(file, `${before.trimEnd()}\n${line}`)
}

/** Written beside, synced, then put in place: a power cut leaves the old file or the new one. */
function writeWhole(file: string, text: string): void {
  const opened = openSync(`${file}.new`, 'w')
  try {
    writeSync(opened, text)
    fsyncSync(opened)
  } finally {
    closeSync(opened)
  }
  renameSync(`${file}.new`, file)
}
