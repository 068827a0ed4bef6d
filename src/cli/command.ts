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
    return parseArgs({ args: withNegatives(args, options), options, allowPositionals: true, strict: true })
  } catch (cause) {
    throw new CalledWrongly(cause instanceof Error ? cause.message : 'the call cannot be read')
  }
}

/** "--cases -3" is a value like another: the command says what it expected in its place. */
function withNegatives(args: readonly string[], options: NonNullable<ParseArgsConfig['options']>): string[] {
  const joined: string[] = []
  for (const arg of args) {
    const before = joined.at(-1)
    if (/^-\d/.test(arg) && before?.startsWith('--') && options[before.slice(2)]?.type === 'string')
      joined.splice(-1, 1, `${before}=${arg}`)
    else joined.push(arg)
  }
  return joined
}

/**
 * The whole number an option was given.
 * @param option  with its dashes
 * @param least   lowest that is taken, and `most` the highest
 * @throws CalledWrongly for anything else, in digits alone
 */
export function wholeNumber(option: string, said: string, least: number, most: number): number {
  const value = Number(said)
  if (!/^\d{1,9}$/.test(said) || value < least || value > most)
    throw new CalledWrongly(`${option} ${said}: a whole number from ${least} to ${most} was expected, in digits`)
  return value
}

/** "1 case", "20 cases". */
export const countText = (count: number, what: string): string =>
  `${count.toLocaleString('en')} ${what}${count === 1 ? '' : 's'}`

export function print(text: string): void {
  process.stdout.write(`${text}\n`)
}

export function complain(text: string): void {
  process.stderr.write(`${text}\n`)
}
