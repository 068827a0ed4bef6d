import { cpSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { decidingSettings } from '../../src/cli/approvable.ts'
import { addApproval, approvalsText } from '../../src/cli/approvals-folder.ts'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { verdictFile } from '../../src/cli/flow-verdict.ts'
import { loadLine } from '../../src/cli/load-line.ts'
import { approvedSources } from '../../src/cli/roll-back.ts'
import { type Definition, settingDefinitions } from '../../src/config/setting-definitions.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { addClinicKey } from '../../src/store/clinic-keys.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { shippedFlows } from './a-line.ts'
import { ROOT } from './clone.ts'

/**
 * Preload by which a process takes no number and no name for one kept for fiction. Clinics of tests may hold no others, and
 * a real clinic may hold none of them; the bot itself has no such switch.
 */
export const NOTHING_FOR_FICTION = fileURLToPath(new URL('./nothing-for-fiction.js', import.meta.url))

/** Those who may approve, as the demonstration's file has it. */
export const APPROVERS = ['amara', 'ingrid'] as const

const replaced = (text: string, from: string | RegExp, to: string): string => {
  const after = text.replaceAll(from, to)
  if (after === text) throw new Error(`the demonstration's clinic file no longer holds ${String(from)}`)
  return after
}

/** `clinic.yaml` of an invented clinic that is no demonstration, complete in every part. */
export function wholeClinicText(): string {
  const settings = decidingSettings(shippedFlows).map(id => {
    const { shipped }: Definition = settingDefinitions[id]
    return `  ${id}: ${Array.isArray(shipped) ? `[${shipped.join(', ')}]` : shipped}\n`
  })
  let text = readFileSync(join(ROOT, 'deploy/demo-clinic/clinic.yaml'), 'utf8')
  text = replaced(text, /^.*#.*\n/gm, '')
  text = replaced(text, 'demonstration: yes', 'demonstration: no\n  web-address: https://feeding.quay.test')
  text = replaced(text, /^settings:\n(?: {2}.*\n)*/gm, `settings:\n${settings.join('')}`)
  text = replaced(text, '"demo:"', 'https://pager.quay.test/in')
  text = replaced(text, 'example.test', 'quay.test')
  const names: readonly (readonly [string, string])[] = [
    ['Harbour Lights feeding clinic', 'Quay feeding clinic'],
    ["Harbour Point Children's Hospital", 'Quay Hospital'],
    ['Northside Bay Hospital', 'Mill Hospital'],
    ['1 Breakwater Street', '3 Quay Street'],
    ['40 Tidewater Avenue', '8 Mill Street'],
    ['Amara Osei', 'Amara Test'],
    ['Tomás Herrera', 'Tomás Test'],
    ['Linh Tran', 'Linh Test'],
    ['Dr. Yusuf Demir', 'Dr. Yusuf Test'],
    ['Dr. Ingrid Solheim', 'Dr. Ingrid Test'],
    ['Malia Kealoha', 'Malia Test'],
  ]
  for (const [from, to] of names) text = replaced(text, from, to)
  return `${text}pagers:
  smtp: { host: mail.quay.test, port: 587, security: starttls, from: pages@quay.test, user: pages, password-file: smtp-password }
  webhook: { secret-file: webhook-secret }
`
}

/** A clinic's folder and its data folder with keys, everything approved as it is shipped, `approvedAt`. */
export function wholeClinic(
  folder: string,
  approvedAt: Instant,
  filesOf: readonly string[] = [],
): { readonly clinic: string; readonly data: string } {
  const clinic = join(folder, 'clinic')
  const data = join(folder, 'data')
  mkdirSync(clinic, { recursive: true })
  cpSync(join(ROOT, 'flows'), join(clinic, 'flows'), { recursive: true })
  writeFileSync(join(clinic, 'clinic.yaml'), wholeClinicText())
  writeFileSync(join(clinic, 'smtp-password'), 'correct horse battery', { mode: 0o600 })
  writeFileSync(join(clinic, 'webhook-secret'), `whsec_${Buffer.alloc(32, 7).toString('base64')}`, { mode: 0o600 })
  approveAll(clinic, approvedAt, filesOf)
  openDataFolder(data, systemRandom())
  addClinicKey(join(data, 'clinic-keys'))
  return { clinic, data }
}

/**
 * Everything that is not approved as it stands, approved by both.
 *
 * @param filesOf  parts whose files are kept with it, as approving itself keeps them of each
 */
export function approveAll(clinic: string, at: Instant, filesOf: readonly string[] = []): void {
  for (const part of loadLine({ clinicDir: clinic, at }).approvables) {
    if (approvalsText(clinic, part.id)?.includes(part.hash) === true) continue
    const files = filesOf.includes(part.id) ? approvedSources(clinic, undefined, part.id) : undefined
    const kept = { ...part, ...(files === undefined ? {} : { files }) }
    for (const [index, by] of APPROVERS.entries())
      addApproval(clinic, kept, { by, at: instant(at - 60_000 * (10 - index)), languages: part.languages })
  }
}

/** Every flow counts as walked and found to hold as it stands: walking takes minutes, and tests of its own show that it is asked for. */
export function walkedAlready(clinic: string, at: Instant): void {
  const { flows, approvables } = loadLine({ clinicDir: clinic, at })
  mkdirSync(join(clinic, 'approvals', 'checked'), { recursive: true })
  for (const concern of flows?.flows.keys() ?? [])
    writeFileSync(verdictFile({ clinicDir: clinic, approvables }, concern), '{}')
}
