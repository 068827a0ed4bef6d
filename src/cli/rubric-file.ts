import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import { type Rubric, rubricIn } from '../review/rubric.ts'
import { CalledWrongly } from './command.ts'

const SHIPPED = fileURLToPath(new URL('../review/rubric.yaml', import.meta.url))

/** The clinic's own rubric where its folder has one, else the shipped. `CalledWrongly` says what is wrong with a file. */
export function readRubric(clinicDir: string): Rubric {
  const own = join(clinicDir, 'rubric.yaml')
  const file = existsSync(own) ? own : SHIPPED
  let value: unknown
  try {
    value = parse(readFileSync(file, 'utf8'))
  } catch (error) {
    throw new CalledWrongly(`${file}: ${error instanceof Error ? error.message.split('\n')[0] : 'it cannot be read'}`)
  }
  const read = rubricIn(value)
  if ('faults' in read) throw new CalledWrongly([`${file}: no rubric`, ...read.faults].join('\n  '))
  return read.rubric
}
