import type { Fault } from './fault.ts'

/**
 * What may be written to the log. Nothing here can hold words of a family, a name, a number or an address: texts pass
 * only when they look like an id or a code, and anything else is left out by name.
 */
export interface LogFields {
  /** What happened, as a code: `case-parked`. */
  readonly what: string
  readonly caseId?: string
  readonly effectId?: string
  readonly lane?: string
  readonly channel?: string
  readonly pager?: string
  /** A code of why: `timeout`, `http-503`. */
  readonly why?: string
  /** Name of an error's class. Never its message: messages quote what they stumbled over. */
  readonly error?: string
  /** File and line where an error arose. */
  readonly place?: string
  readonly alarm?: string
  readonly ms?: number
  readonly count?: number
  readonly tries?: number
}

const ALLOWED = new Set<string>([
  'what', 'caseId', 'effectId', 'lane', 'channel', 'pager', 'why', 'error', 'place', 'alarm', 'ms', 'count', 'tries',
] satisfies (keyof LogFields)[]) // biome-ignore format: one list

const CODE = /^[A-Za-z0-9][A-Za-z0-9._:/-]{0,99}$/
/** Digits enough for a telephone number or a date of birth: never part of a code; ids are made of them. */
const MANY_DIGITS = /\d[\d.:/-]{4,}\d/
const IDS = new Set<string>(['caseId', 'effectId'] satisfies (keyof LogFields)[])

export type Log = (fields: LogFields) => void

/**
 * A log of JSON lines. Fields outside the list are dropped and texts that are no id or code become `withheld`, whatever
 * the caller passed.
 *
 * @param now  the instant of the line, written in UTC
 * @param out  where lines go; standard error by default
 */
export function lineLog(now: () => number, out: (line: string) => void = toStandardError): Log {
  return fields => out(`${JSON.stringify({ at: new Date(now()).toISOString(), ...allowed(fields) })}\n`)
}

function toStandardError(line: string): void {
  process.stderr.write(line)
}

function allowed(fields: LogFields): Record<string, string | number> {
  const kept: Record<string, string | number> = {}
  for (const [name, value] of Object.entries({ ...fields } as Readonly<Record<string, unknown>>)) {
    if (!ALLOWED.has(name)) continue
    if (typeof value === 'number' && Number.isFinite(value)) kept[name] = value
    else if (typeof value === 'string') {
      const isCode = CODE.test(value) && (IDS.has(name) || !MANY_DIGITS.test(value))
      kept[name] = isCode ? value : 'withheld'
    }
  }
  return kept
}

/** A fault as the log may hold it: codes, ids, the class of an error. */
export function faultFields({ code, error, ...rest }: Fault): LogFields {
  return { what: code, ...rest, ...errorFields(error) }
}

/** The class of whatever was thrown and the file and line where it arose, without its message. */
export function errorFields(error: unknown): { readonly error?: string; readonly place?: string } {
  if (error === undefined) return {}
  if (!(error instanceof Error)) return { error: typeof error }
  const frame = /^\s+at .*\/([A-Za-z0-9._-]+:\d+):\d+\)?$/m.exec(stackWithoutMessage(error))?.[1]
  return { error: error.name, ...(frame === undefined ? {} : { place: frame }) }
}

/** Frames only: a message may run over several lines and look like frames itself. */
function stackWithoutMessage(error: Error): string {
  const stack = error.stack ?? ''
  const at = stack.indexOf(error.message)
  return at === -1 ? '' : stack.slice(at + error.message.length)
}
