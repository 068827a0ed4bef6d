import { spawn } from 'node:child_process'
import { existsSync, mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { writeWhole } from '../config/clinic-save.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Approvable } from './approvable.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'

/** How a finding ends that is a broken rule, and no fault on the way to one. */
export const DOES_NOT_HOLD = 'does not hold'

/** What the checker says of one flow. */
export interface Verdict {
  readonly holds: boolean
  /** What breaks, one sentence each. */
  readonly found: readonly string[]
}

/** Walks a flow. Takes from seconds to minutes: never on the loop that answers families. */
export type WalkFlow = (concern: string) => Promise<Verdict>

export interface VerdictSituation {
  readonly clinicDir: string
  readonly flowsDir?: string
  readonly approvables: readonly Approvable[]
  readonly walk: WalkFlow
}

/**
 * What the checker says of a flow as it is: walked now, or as it was kept when the same flow was walked before with the same
 * settings and the same safety rules. It is kept beside the approvals, for the second clinician and for whoever asks later.
 */
export async function flowVerdict(situation: VerdictSituation, concern: string): Promise<Verdict> {
  const file = verdictFile(situation, concern)
  if (existsSync(file)) return { holds: true, found: [] }
  const verdict = await situation.walk(concern)
  // What breaks is walked again when it is asked for again: nobody shall be stopped by a fault of a checker since mended.
  if (!verdict.holds) return verdict
  mkdirSync(join(situation.clinicDir, 'approvals', 'checked'), { recursive: true })
  writeWhole(file, `${JSON.stringify({ flow: concern, holds: true })}\n`, 0o644)
  return verdict
}

/** Where the word that a flow holds is kept: named for everything it rests on. */
export function verdictFile(
  { clinicDir, flowsDir, approvables }: Omit<VerdictSituation, 'walk'>,
  concern: string,
): string {
  const hashOf = (id: string) => approvables.find(part => part.id === id)?.hash ?? ''
  const own = readFlowFiles(flowsDir ?? SHIPPED_FLOWS, join(clinicDir, 'flows'))
  const rules = [...own].filter(([path]) => path.startsWith('rules/'))
  const shipped =
    rules.length > 0 ? rules : [...readFlowFiles(SHIPPED_FLOWS)].filter(([path]) => path.startsWith('rules/'))
  const key = sha256(JSON.stringify([hashOf(concern), hashOf('settings'), shipped.toSorted()]))
  return join(clinicDir, 'approvals', 'checked', `${key}.json`)
}

const MAIN = fileURLToPath(new URL('./main.ts', import.meta.url))

/** The `check` command in a process of its own. */
export function walkInProcess({ clinicDir, flowsDir }: Pick<VerdictSituation, 'clinicDir' | 'flowsDir'>): WalkFlow {
  return concern =>
    new Promise((resolve, reject) => {
      const folder = flowsDir === undefined ? [] : [flowsDir]
      const args = [...process.execArgv, MAIN, 'check', ...folder, '--clinic', clinicDir, '--flow', concern, '--json']
      const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] })
      const said = { out: '', err: '' }
      child.stdout.setEncoding('utf8').on('data', text => (said.out += text))
      child.stderr.setEncoding('utf8').on('data', text => (said.err += text))
      child.on('error', reject)
      child.on('close', code => resolve(verdictIn(code, said)))
    })
}

function verdictIn(code: number | null, { out, err }: { out: string; err: string }): Verdict {
  const start = out.indexOf('{')
  const document = start === -1 ? undefined : (JSON.parse(out.slice(start)) as CheckDocument)
  const breaks = document?.violations.map(({ rule, flow }) => `${flow}: ${rule} ${DOES_NOT_HOLD}`) ?? []
  const isWalked = (document?.totals.flows ?? 0) > 0
  if (code === 0 && isWalked && breaks.length === 0) return { holds: true, found: [] }
  const faults = err
    .split('\n')
    .filter(line => line !== '')
    .slice(0, 5)
  return {
    holds: false,
    found: breaks.length > 0 ? breaks : faults.length > 0 ? faults : ['the checker could not walk it'],
  }
}

interface CheckDocument {
  readonly totals: { readonly flows: number }
  readonly violations: readonly { readonly rule: string; readonly flow: string }[]
}
