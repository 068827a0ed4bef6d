import type { Problem } from '../flow/problem.ts'

/**
 * What must hold before a bot answers real families, and what is said where it does not. Nothing here decides whether to
 * serve: `serve` and `ready` collect every refusal first, so that one run tells all of them.
 */
export const guards = {
  files: 'the files of the clinic and its flows can be read, and say nothing that contradicts itself',
  demonstration: 'a demonstration holds no number and no address that could reach somebody',
  placeholders: 'nothing in the clinic file is left empty, or as it stood in an example',
  numbers: 'every number and address is one that reaches somebody',
  emergency: 'the emergency number is one of the country of the clinic',
  secrets:
    'no secret stands in the clinic file; secret files are there, long enough, and only their owner may read them',
  keys: 'the keys are there, whole, and only their owner may read them',
  settings: 'the clinic has written down every setting that decides something',
  approvals: 'two clinicians have approved exactly what families are told, and the settings behind it',
  cover: 'somebody can be paged at every hour of the next 7 days',
  opening: 'days on which the clinic is closed are known for the time ahead',
  data: 'the data folder is private, on a disk of this machine, and can be written',
  web: 'families reach the bot by https only',
  user: 'the bot does not run as the administrator of the machine',
  store: 'the Redis that keeps the cases answers, and keeps what it is told',
  vignettes: 'the situations that the clinic wrote down come out as it expects',
} as const

export type GuardId = keyof typeof guards

/** One thing that stands in the way of serving, or should be looked at. */
export interface Refusal {
  readonly guard: GuardId
  readonly code: string
  /** `file:line:column`, a file, or an option. */
  readonly where: string
  readonly found: string
  readonly expected: string
  /** What exactly to do; may be several lines, to be pasted. */
  readonly todo: string
  readonly severity: 'refused' | 'warning'
  /** True where nobody changed anything, only time went by. A line that was serving a moment ago is not held back by it. */
  readonly isByTime?: true
}

/** `where CODE: found; expected …` and a line that says what to do. */
export function refusalText({ where, code, found, expected, todo, severity }: Refusal): string {
  const mark = severity === 'warning' ? ' (warning)' : ''
  return `${where} ${code}${mark}: ${found}; expected ${expected}\n    Do: ${todo.replaceAll('\n', '\n    ')}`
}

/** Which guard a problem of the clinic's or a flow's file belongs to; `files` where none is named. */
const guardOfCode: Readonly<Record<string, GuardId>> = {
  NUMBER_REAL: 'demonstration',
  ADDRESS_REAL: 'demonstration',
  NUMBER_FICTION: 'numbers',
  NUMBER_UNKNOWN_RANGE: 'numbers',
  NUMBER_SHORT_UNKNOWN: 'emergency',
  ADDRESS_FICTION: 'numbers',
  PAGER_LOOPBACK: 'numbers',
  ROTA_GAP: 'cover',
  LADDER_EMPTY: 'cover',
  LADDER_ONE_PERSON: 'cover',
  ROTA_OVERLAP: 'cover',
  SWAP_UNMATCHED: 'cover',
  SWAP_BACK: 'cover',
  HOLIDAYS_RUN_OUT: 'cover',
  CALENDAR_MISSING: 'cover',
  CALENDAR_STRANGER: 'cover',
  CALENDAR_OLD: 'cover',
  LADDER_MISSING: 'cover',
  NOBODY_REACHED: 'cover',
  BOARD_ONLY: 'cover',
  HAS_LEFT: 'cover',
  SIGN_OFF_MISSING: 'settings',
}

/** What time alone can bring into a file that nobody touched. */
const broughtByTime = new Set(['ROTA_GAP', 'LADDER_EMPTY', 'LADDER_ONE_PERSON', 'HOLIDAYS_RUN_OUT', 'CALENDAR_OLD'])

const todoOfCode: Readonly<Record<string, string>> = {
  NUMBER_REAL:
    'write a number kept for fiction, such as "+1 212 555 0110", or make it a clinic with "demonstration: no"',
  ADDRESS_REAL: 'write an address that ends in .test, or make it a clinic with "demonstration: no"',
  NUMBER_FICTION: 'write the number that rings there, and ring it once',
  ADDRESS_FICTION: 'write the address that is read there, and send to it once',
  PAGER_LOOPBACK: 'name the machine that sends pages on',
  SWAP_UNMATCHED:
    'write the start of the shift as the rota has it, or take the swap out; "smallhours rota calendar" shows each shift',
  HOLIDAYS_RUN_OUT: 'write the holidays of the coming year into the file named under holidays',
  CALENDAR_MISSING: 'import the calendar again: "smallhours rota import"',
  CALENDAR_STRANGER: 'import the calendar again: "smallhours rota import"',
  CALENDAR_OLD: 'look whether the address of the calendar can be reached, or import it from a file',
  ROTA_GAP: 'add a shift under rota, or a line under changes, for these hours; "smallhours rota gaps" lists them',
  LADDER_EMPTY: 'add a rung under ladder that is in use at every hour, such as a desk where somebody always is',
  LADDER_ONE_PERSON: 'add a second person or a desk under ladder',
}

/** A problem of a file as a refusal. */
export function refusalOf(problem: Problem): Refusal {
  const { code, file, line, column, found, expected, nearest, severity } = problem
  const meant = nearest === undefined ? '' : ` (did you mean "${nearest}"?)`
  return {
    guard: guardOfCode[code] ?? 'files',
    code,
    where: `${file}:${line}:${column}`,
    found,
    expected: `${expected}${meant}`,
    todo: todoOfCode[code] ?? `put this line right, then run "smallhours clinic" again`,
    severity: severity === 'warning' ? 'warning' : 'refused',
    ...(broughtByTime.has(code) ? { isByTime: true } : {}),
  }
}
