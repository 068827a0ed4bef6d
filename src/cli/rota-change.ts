import { readFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { type ClinicEdit, clinicHash, editClinic } from '../config/clinic-edits.ts'
import { saveClinic } from '../config/clinic-save.ts'
import { problemText } from '../flow/problem.ts'
import type { Instant } from '../time/instant.ts'
import { complain, print } from './command.ts'

/**
 * Shows an edit of the clinic's file as one sentence, and writes it when it was agreed to.
 *
 * @returns the exit code: 0 written or shown, 1 refused
 */
export function changeRota(
  given: { readonly clinicDir: string; readonly at: Instant; readonly yes: boolean; readonly json: boolean },
  edit: ClinicEdit,
): number {
  const file = join(given.clinicDir, 'clinic.yaml')
  const text = readFileSync(file, 'utf8')
  const beside = (name: string) => readFileSync(resolve(given.clinicDir, name))
  const result = editClinic({ file, text, seen: clinicHash(text), edit, at: given.at, beside })
  if (result.kind !== 'edited') {
    if (given.json) print(JSON.stringify({ written: false, ...result }))
    else {
      complain(result.because)
      if (result.kind === 'refused') for (const problem of result.problems) complain(problemText(problem))
    }
    return 1
  }
  const saved = given.yes ? saveClinic(file, result.text, result.basedOn) : undefined
  const written = saved?.kind === 'saved'
  if (given.json) {
    const { sentence, told, brings, differences } = result
    print(JSON.stringify({ written, sentence, told, brings, differences }))
  } else {
    print(result.sentence)
    for (const problem of result.brings) complain(problemText(problem))
    if (!given.yes) print('Nothing is written yet. The same with --yes writes it.')
    else print(written ? 'Written.' : 'Somebody else changed the file meanwhile. Nothing was written: run it again.')
  }
  return given.yes && !written ? 1 : 0
}
