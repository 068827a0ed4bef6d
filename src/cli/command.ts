import { type ParseArgsConfig, parseArgs } from 'node:util'

/** A command of `smallhours`: it prints, and answers with an exit code (0 well, 1 falls short, 2 called wrongly). */
export interface Command {
  readonly name: string
  /** One line for the list of commands. */
  readonly summary: string
  /** How it is called. */
  readonly usage: string
  run(args: readonly string[]): Promise<number>
}

/** Called wrongly: the message says what was expected. */
export class CalledWrongly extends Error {
  override readonly name = 'CalledWrongly'
}

/** Options and words of a call. Throws `CalledWrongly` on an option the command does not have. */
export function argumentsOf<T extends NonNullable<ParseArgsConfig['options']>>(args: readonly string[], options: T) {
  try {
    return parseArgs({ args: [...args], options, allowPositionals: true, strict: true })
  } catch (cause) {
    throw new CalledWrongly(cause instanceof Error ? cause.message : 'the call cannot be read')
  }
}

export function print(text: string): void {
  process.stdout.write(`${text}\n`)
}

export function complain(text: string): void {
  process.stderr.write(`${text}\n`)
}
