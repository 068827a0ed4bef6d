/** What the sentences of edits are made of, in one language. Names, numbers and times come as they are shown. */
export interface EditPhrases {
  /** For dates and times (BCP 47). */
  readonly locale: string
  /** A list of names or dates, with "and" before the last. */
  listed(words: readonly string[]): string
  readonly nobody: string
  cover(given: { who: string; role: string; from: string; until: string; instead: readonly string[] }): string
  swap(given: { to: string; of: string; role: string; from: string; until: string | undefined }): string
  inReturn(given: { to: string; of: string; role: string; from: string }): string
  leave(given: { who: string; from: string; until: string; holes: readonly string[]; more: number }): string
  hole(role: string, from: string, until: string): string
  takenBack(line: number, section: string): string
  backTo(who: string, role: string, from: string, until: string): string
  privateNumber(who: string, had: string | undefined, now: string): string
  pageAddress(who: string, pager: string | undefined, address: string, had: string | undefined): string
  /** Name and values as they are shown. */
  setting(name: string, was: string | undefined, value: string): string
  /** `closed`, or hours. */
  hours(day: string, value: string, was: string | undefined): string
  date(day: string, value: string, was: string | undefined): string
  retention(value: string, was: string | undefined): string
  hospitalNumber(hospital: string, had: string, now: string): string
  familiesNumber(which: string, had: string, now: string): string
  weekly(given: { day: string; from: string; to: string; role: string; who: string }): string
  shiftOut(given: { day: string; role: string; shift: number }): string
  roleNew(given: { from: string; to: string; role: string; who: string }): string
  /** `host` of a live calendar; `until` when the last of its shifts ends. */
  calendar(given: { role: string; shifts: number; host: string | undefined; until: string | undefined }): string
  calendarStop(role: string): string
  calendarOut(role: string): string
  order(before: string, after: string): string
  onCallAs(role: string): string
  readonly whileOpen: string
  readonly whileClosed: string
  between(from: string, to: string): string
  told(names: readonly string[]): string
  readonly nobodyTold: string
  readonly everyFamilySees: string
  readonly noNight: string
  nights(count: number, shown: readonly string[], more: number): string
}

const SECTIONS: Readonly<Record<string, string>> = {
  changes: 'A change of who is on call',
  swaps: 'A swap',
  leave: 'Leave',
}

const listed = (words: readonly string[]): string =>
  words.length < 2 ? (words[0] ?? '') : `${words.slice(0, -1).join(', ')} and ${words.at(-1)}`
const noMore = (was: string | undefined): string => (was === undefined ? '' : `, no more ${was}`)
const andMore = (more: number): string => (more > 0 ? ` and ${more} more` : '')

const dayText = (day: string): string => `${day.slice(0, 1).toUpperCase()}${day.slice(1)}`

export const englishPhrases: EditPhrases = {
  locale: 'en',
  listed,
  nobody: 'nobody',
  cover: ({ who, role, from, until, instead }) =>
    `${who} is on call as "${role}" from ${from} until ${until}${instead.length === 0 ? '' : ` in place of ${listed(instead)}`}`,
  swap: ({ to, of, role, from, until }) =>
    `${to} takes the shift of ${of} as "${role}" from ${from}${until === undefined ? '' : ` until ${until}`}`,
  inReturn: ({ to, of, role, from }) => `, and ${of} takes that of ${to} as "${role}" from ${from}`,
  leave: ({ who, from, until, holes, more }) =>
    `${who} is away from ${from} until ${until}, and ${holes.length === 0 ? 'no shift is left open' : `nobody is then on call as ${listed(holes)}${andMore(more)} until it is covered`}`,
  hole: (role, from, until) => `"${role}" from ${from} until ${until}`,
  takenBack: (line, section) => `${SECTIONS[section] ?? section} is taken back (number ${line} in the list)`,
  backTo: (who, role, from, until) => `: ${who} is on call as "${role}" from ${from} until ${until}`,
  privateNumber: (who, had, now) =>
    `The private number of ${who} ${had === undefined ? 'is' : `changes from ${had} to`} ${now}`,
  pageAddress: (who, pager, address, had) =>
    `${who} is paged by ${pager ?? 'another way'} at ${address}${had === undefined ? '' : `, no more at ${had}`}`,
  setting: (name, was, value) =>
    `The setting "${name}" ${was === undefined ? 'is' : `changes from ${was} to`} ${value}`,
  hours: (day, value, was) =>
    `The clinic is ${value === 'closed' ? 'closed' : 'open'} on ${dayText(day)}s${value === 'closed' ? '' : ` ${value}`}${noMore(was)}`,
  date: (day, value, was) => `On ${day} the clinic is ${value === 'closed' ? 'closed' : `open ${value}`}${noMore(was)}`,
  retention: (value, was) => `Closed cases are kept for ${value}${noMore(was)}`,
  hospitalNumber: (hospital, had, now) => `The number families ring at ${hospital} changes from ${had} to ${now}`,
  familiesNumber: (which, had, now) => `The number "${which}" that families are shown changes from ${had} to ${now}`,
  weekly: ({ day, from, to, role, who }) =>
    `${day === 'holiday' ? 'On holidays' : `Each ${dayText(day)}`} from ${from} until ${to} "${role}" is ${who}`,
  shiftOut: ({ day, role, shift }) =>
    `Shift ${shift} of "${role}" ${day === 'holiday' ? 'on holidays' : `on ${dayText(day)}s`} is taken out`,
  roleNew: ({ from, to, role, who }) =>
    `There is a new role "${role}": ${who} each day from ${from} until ${to}; nobody is paged for it until the order of paging names it`,
  calendar: ({ role, shifts, host, until }) =>
    `"${role}" follows ${host === undefined ? 'a calendar that is taken in once' : `the live calendar at ${host}`}: ${shifts} ${shifts === 1 ? 'shift' : 'shifts'}${until === undefined ? '' : `, the last one until ${until}`}`,
  calendarStop: role =>
    `The live calendar of "${role}" is not looked at any more, and the shifts that were read of it go on counting`,
  calendarOut: role => `"${role}" follows no calendar any more, and its week counts again`,
  order: (before, after) => `The order of paging was: ${before}. It is then: ${after}`,
  onCallAs: role => `whoever is on call as "${role}"`,
  whileOpen: 'while the clinic is open',
  whileClosed: 'while it is closed',
  between: (from, to) => `${from} to ${to}`,
  told: names => `${listed(names)} ${names.length === 1 ? 'is' : 'are'} told`,
  nobodyTold: 'nobody is told',
  everyFamilySees: 'every family sees it at once',
  noNight: 'no night changes',
  nights: (count, shown, more) =>
    `${count === 1 ? 'one day changes' : `${count} days change`}: ${shown.join(', ')}${andMore(more)}`,
}
