import { readFileSync } from 'node:fs'
import { z } from 'zod'
import { CalledWrongly } from './command.ts'

/** Lines of a JSONL file, empty ones left out. Throws `CalledWrongly` naming file and line where one has another shape. */
export function labelledLines<Line>(file: string, shape: z.ZodType<Line>, wanted: string): Line[] {
  const text = readText(file)
  return text
    .split('\n')
    .flatMap((line, index) => (line.trim() === '' ? [] : [lineOf(file, line, index + 1, shape, wanted)]))
}

function readText(file: string): string {
  try {
    return readFileSync(file, 'utf8')
  } catch {
    throw new CalledWrongly(`${file}: cannot be read; a file of labelled lines was expected`)
  }
}

function lineOf<Line>(file: string, text: string, number: number, shape: z.ZodType<Line>, wanted: string): Line {
  try {
    return shape.parse(JSON.parse(text))
  } catch (cause) {
    const why = cause instanceof z.ZodError ? z.prettifyError(cause) : 'not JSON'
    throw new CalledWrongly(`${file}:${number}: ${why}; one JSON object a line was expected, with ${wanted}`)
  }
}
