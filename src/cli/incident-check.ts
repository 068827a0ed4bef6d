/** What the checker says of exactly the flow that a case was opened under, for an incident bundle. */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join, relative, resolve } from 'node:path'
import { canonicalText } from '../flow/content.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { FlowsKept } from './edition-archive.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { DOES_NOT_HOLD, type Verdict, type WalkFlow } from './flow-verdict.ts'

/** Hashes say of what it is the result: whoever doubts it can walk the same again. */
export type CheckerResult =
  | ({
      readonly kind: 'walked'
      readonly concern: string
      /** SHA-256 of the flow's content, and of the safety rules it was held against: those of the day of the bundle. */
      readonly flow: string
      readonly rules: string
    } & Verdict)
  | { readonly kind: 'not-walked'; readonly why: string }

export interface CheckedFlow {
  readonly concern: string
  readonly flow: string
  /** Its sources, as the transcript brings them. */
  readonly kept: FlowsKept
  readonly clinicDir: string
  /** Makes what walks the flows of a folder. */
  readonly walker: (flowsDir: string) => WalkFlow
}

/** Writes the flows into a folder of their own with the rules of today, and walks the one. Takes from seconds to minutes. */
export async function checkerResult({ concern, flow, kept, clinicDir, walker }: CheckedFlow): Promise<CheckerResult> {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-incident-check-'))
  try {
    const now = [...readFlowFiles(SHIPPED_FLOWS, join(clinicDir, 'flows'))].toSorted()
    const rules = now.filter(([path]) => path.startsWith('rules/'))
    // Words of screens and of families are not kept with a flow, and no walk reads them; without them nothing can be loaded.
    const words = now.filter(([path]) => path.startsWith('shared/') && !Object.hasOwn(kept.files, path))
    for (const [path, text] of [...Object.entries(kept.files), ...words, ...rules]) write(folder, path, text)
    const verdict = await walker(folder)(concern)
    if (!verdict.holds && !verdict.found.some(one => one.endsWith(DOES_NOT_HOLD)))
      return { kind: 'not-walked', why: verdict.found.join('; ') }
    return { kind: 'walked', concern, flow, rules: sha256(canonicalText(Object.fromEntries(rules))), ...verdict }
  } catch (error) {
    return { kind: 'not-walked', why: error instanceof Error ? error.message : 'the checker could not be run' }
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

/** Paths come from a file: none may lead out of the folder. */
function write(folder: string, path: string, text: string): void {
  const file = resolve(folder, path)
  if (relative(folder, file).startsWith('..'))
    throw new Error(`the flows name a file outside their folder: ${path.slice(0, 80)}`)
  mkdirSync(dirname(file), { recursive: true })
  writeFileSync(file, text)
}
