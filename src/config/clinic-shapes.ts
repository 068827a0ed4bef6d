import { z } from 'zod'
import { ROLES } from '../oncall/clinic.ts'
import { dayNumberOf, type WallTime } from '../oncall/wall-time.ts'
import { days, minutes } from '../time/instant.ts'

/** Shapes of the parts of clinic.yaml. Each message says what was expected there, and what to write. */

const text = (what: string) => z.string({ error: what }).trim().min(1, { error: what })
export const oneOf = <const T extends readonly string[]>(words: T) =>
  z.enum(words, { error: `one of: ${words.join(', ')}` })
const word = z.union([z.string(), z.number()], { error: 'a number, in quotes' }).transform(String)

/** Ids: small letters, digits and dashes, starting with a letter. */
export const idPattern = /^[a-z][a-z0-9-]*$/
export const idExpected = 'an id of small letters, digits and dashes, starting with a letter, like amara or day-desk'

const languageTag = z
  .string({ error: 'a language tag, like en or es' })
  .regex(/^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$/, { error: 'a language tag, like en or es' })
/** One line for every family, or one for each language: `{ en: …, es: … }`. */
const familyText = (what: string) =>
  z.union([text(what), z.record(languageTag, text(what))], {
    error: `${what}; or one line for each language: { en: …, es: … }`,
  })
export const yesOrNo = (meaning: string) =>
  z
    .union([z.boolean(), z.literal('yes'), z.literal('no')], { error: `yes or no: ${meaning}` })
    .transform(said => said === true || said === 'yes')

const timeExpected = 'a local time of four digits, like 08:00 or 18:30'
const minuteOfDay = z
  .string({ error: timeExpected })
  .regex(/^([01]\d|2[0-3]):[0-5]\d$|^24:00$/, { error: timeExpected })
  .transform(minuteIn)

function minuteIn(clock: string): number {
  const [hour, minute] = clock.split(':')
  return Number(hour) * 60 + Number(minute)
}

const spanExpected = 'two local times, like 08:00-17:00'
/** `08:00-17:00` as minutes of the day. */
export const spanShape = z
  .string({ error: spanExpected })
  .regex(/^([01]\d|2[0-3]):[0-5]\d *[-–] *(([01]\d|2[0-3]):[0-5]\d|24:00)$/, { error: spanExpected })
  .transform(said => {
    const [from = '', to = ''] = said.split(/[-–]/)
    return { from: minuteIn(from.trim()), to: minuteIn(to.trim()) }
  })

const wallExpected = 'a date and local time, like 2026-12-24 18:00'
const wallShape = z.string({ error: wallExpected }).transform((said, context): WallTime => {
  const wall = wallTimeIn(said.trim())
  if (wall !== undefined) return wall
  context.addIssue({ code: 'custom', message: wallExpected })
  return z.NEVER
})

/** A date and local time such as 2026-12-24 18:00; undefined when it is none. */
export function wallTimeIn(said: string): WallTime | undefined {
  const read = /^(\d{4})-(\d{2})-(\d{2})[ T]([01]\d|2[0-3]):([0-5]\d)$/.exec(said)
  const day = read === null ? undefined : dayNumberOf(Number(read[1]), Number(read[2]), Number(read[3]))
  return read === null || day === undefined ? undefined : { day, minute: Number(read[4]) * 60 + Number(read[5]) }
}

/** Local day number of a date key such as 2026-12-25; undefined when it is none. */
export function dayIn(date: string): number | undefined {
  const read = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date)
  return read === null ? undefined : dayNumberOf(Number(read[1]), Number(read[2]), Number(read[3]))
}

/** Shortest and longest time a closed case may be kept, in days, inclusive. A case just closed still hears small words for a day. */
const RETENTION_DAYS = [2, 9_999] as const
const retentionExpected = `how long closed cases are kept, in days or weeks: P90D, P13W; from ${RETENTION_DAYS[0]} to ${RETENTION_DAYS[1]} days`
const retentionShape = z.string({ error: retentionExpected }).transform((said, context) => {
  const read = /^P(\d{1,5})([DW])$/.exec(said.trim())
  const count = Number(read?.[1]) * (read?.[2] === 'W' ? 7 : 1)
  if (read === null || count < RETENTION_DAYS[0] || count > RETENTION_DAYS[1]) {
    context.addIssue({ code: 'custom', message: retentionExpected })
    return z.NEVER
  }
  return days(count)
})

export const clinicShape = z.strictObject({
  name: text("the clinic's name, as families know it"),
  zone: text('a zone named for a place, like America/New_York'),
  clock: oneOf(['12h', '24h']),
  demonstration: yesOrNo('yes only for an invented clinic'),
  'web-address': z.url({ protocol: /^https$/, error: 'a web address that starts with https://' }).optional(),
  'family-languages': z
    .array(languageTag, { error: 'a list of language tags, like [en, es]' })
    .min(1, { error: 'at least one language tag' }),
  'staff-language': languageTag,
  retention: retentionShape.optional(),
})

export const numberShape = z.strictObject(
  {
    number: word,
    words: familyText('what to say, in words').optional(),
    hours: text('when it is answered, in words').optional(),
    language: languageTag.optional(),
  },
  { error: 'a number with its words, like { number: "+1 212 555 0110", words: "ask for the feeding nurse" }' },
)

export const hospitalShape = z.strictObject(
  {
    name: text("the hospital's name, as families know it"),
    'families-ring': z.unknown().optional(),
    address: text('a street address, in one line'),
    door: familyText('which door to go to, in words').optional(),
    'can-do': z.array(text('what this hospital can do and when, in words'), { error: 'a list of lines' }).optional(),
    'handover-to': z.unknown().optional(),
  },
  { error: 'a hospital: name, families-ring, address' },
)

/** Names and addresses by which calendars know somebody. */
const knownAs = z
  .array(text('a name or address as a calendar writes it'), { error: 'a list of names and addresses, like [A. Osei]' })
  .optional()

export const personShape = z.strictObject(
  {
    name: text('the name as families read it'),
    job: text('the job as families read it, like feeding nurse'),
    clinician: yesOrNo('whether this person may answer families and sign').optional(),
    approves: yesOrNo('whether this clinician may approve what families are told').optional(),
    roles: z.array(oneOf(ROLES), { error: `a list of roles, of ${ROLES.join(', ')}; like [on-call, lead]` }).optional(),
    left: yesOrNo('whether this person has left the clinic; kept because approvals name them').optional(),
    'page-at': z.unknown().optional(),
    'private-number': word.optional(),
    'known-as': knownAs,
  },
  { error: 'a person: name, job, page-at' },
)

export const deskShape = z.strictObject(
  {
    name: text('the name of the desk, like ward 4 desk'),
    words: text('what to say to whoever answers there').optional(),
    'page-at': z.unknown().optional(),
    'private-number': word.optional(),
    'known-as': knownAs,
  },
  { error: 'a desk: name, page-at' },
)

/** Pagers that exist. Another kind joins here when its adapter does. */
export const pagerKinds = ['board', 'smtp', 'webhook', 'sms', 'telegram'] as const

export const pageAtShape = z.strictObject(
  {
    pager: text(`one of: ${pagerKinds.join(', ')}`),
    address: text('an e-mail address for smtp, a web address for webhook, a mobile number for sms').optional(),
  },
  { error: 'a pager and its address, like { pager: smtp, address: name@clinic.example }' },
)

const dateExpected = 'a date that exists, like 2026-12-25'
const dateShape = z.string({ error: dateExpected }).transform((said, context): number => {
  const day = dayIn(said.trim())
  if (day !== undefined) return day
  context.addIssue({ code: 'custom', message: dateExpected })
  return z.NEVER
})

const everyExpected = 'every how many weeks, a whole number from 1 to 53'
const WEEKS_MOST = 53
export const shiftShape = z
  .strictObject(
    {
      from: minuteOfDay,
      to: minuteOfDay,
      who: text('the id of a person or desk'),
      every: z
        .int({ error: everyExpected })
        .min(1, { error: everyExpected })
        .max(WEEKS_MOST, { error: everyExpected })
        .optional(),
      since: dateShape.optional(),
    },
    { error: 'a shift, like { from: 18:00, to: 08:00, who: amara }' },
  )
  .refine(({ every, since }) => every === undefined || every === 1 || since !== undefined, {
    error: 'also a date to count from, like { …, every: 2, since: 2026-11-30 }: else nobody knows which weeks',
  })

export const changeShape = z.strictObject(
  {
    'on-call': text('a role of the rota'),
    from: wallShape,
    until: wallShape,
    who: text('the id of a person or desk'),
    why: text('the reason, in words').optional(),
  },
  {
    error: 'a change, like { on-call: first, from: 2026-12-24 18:00, until: 2026-12-25 08:00, who: amara, why: swap }',
  },
)

const swapExpected =
  'a swap, like { on-call: first, shift: 2026-12-05 18:00, of: amara, to: tomas }; for an exchange also in-return: 2026-12-08 18:00'
export const swapShape = z
  .strictObject(
    {
      'on-call': text('a role of the rota'),
      shift: wallShape,
      of: text('the id of who has the shift'),
      to: text('the id of who takes it'),
      'in-return': wallShape.optional(),
      'in-return-on-call': text('a role of the rota').optional(),
      why: text('the reason, in words').optional(),
    },
    { error: swapExpected },
  )
  .refine(({ of, to }) => of !== to, { error: 'two different people: of has the shift, to takes it' })

const leaveExpected = 'a date, like 2026-12-20, or a date and local time'
/** A date alone is the whole day: as a beginning its first minute, as an end the first minute of the next day. */
const leaveEdge = (addDays: 0 | 1) =>
  z.string({ error: leaveExpected }).transform((said, context): WallTime => {
    const day = dayIn(said.trim())
    if (day !== undefined) return { day: day + addDays, minute: 0 }
    const wall = wallShape.safeParse(said)
    if (wall.success) return wall.data
    context.addIssue({ code: 'custom', message: leaveExpected })
    return z.NEVER
  })
export const leaveShape = z
  .strictObject(
    {
      who: text('the id of a person or desk'),
      from: leaveEdge(0),
      until: leaveEdge(1),
      why: text('the reason, in words').optional(),
    },
    { error: 'leave, like { who: tomas, from: 2026-12-20, until: 2027-01-03 }; the last day is part of it' },
  )
  .refine(({ from, until }) => until.day * 1440 + until.minute > from.day * 1440 + from.minute, {
    error: 'an end after the start',
  })

const feedExpected = 'a web address that starts with https://, without user name'
const everyShape = z.string({ error: 'how often it is looked at, like PT1H' }).transform((said, context) => {
  const read = /^PT(\d{1,3})([MH])$/.exec(said.trim())
  const minutesSaid = Number(read?.[1]) * (read?.[2] === 'H' ? 60 : 1)
  if (read !== null && minutesSaid >= FEED_MINUTES[0] && minutesSaid <= FEED_MINUTES[1]) return minutes(minutesSaid)
  context.addIssue({ code: 'custom', message: 'how often it is looked at, from PT15M to PT24H' })
  return z.NEVER
})
/** How often a live calendar may be looked at, in minutes. */
const FEED_MINUTES = [15, 1_440] as const

export const calendarShape = z.strictObject(
  {
    'on-call': text('a role of the rota'),
    shifts: text('the file of its shifts, as "rota import" writes it'),
    from: z.string({ error: feedExpected }).refine(isFeedAddress, { error: feedExpected }).optional(),
    every: everyShape.default(minutes(60)),
    'only-public': z.boolean({ error: 'yes or no' }).optional(),
    ignores: z.array(text('the title of an event that is no shift'), { error: 'a list of titles' }).optional(),
  },
  { error: 'a calendar, like { on-call: first, shifts: calendars/first.json }, as "rota import" writes it' },
)

/** An address a calendar may be fetched from: https; plain http from this very machine only. */
export function isFeedAddress(address: string): boolean {
  if (!URL.canParse(address)) return false
  const { protocol, hostname, username, password } = new URL(address)
  if (username !== '' || password !== '') return false
  return protocol === 'https:' || (protocol === 'http:' && hostname === '127.0.0.1')
}

const rungExpected =
  'a rung: one of on-call, person or desk, and perhaps when, like { on-call: first } or { desk: day-desk, when: open }'
export const rungShape = z
  .strictObject(
    {
      'on-call': text('a role of the rota').optional(),
      person: text('the id of a person').optional(),
      desk: text('the id of a desk').optional(),
      when: z
        .union([z.enum(['always', 'open', 'closed']), spanShape], {
          error: 'always, open, closed, or two local times like 22:00-07:00',
        })
        .optional(),
    },
    { error: rungExpected },
  )
  .refine(rung => [rung['on-call'], rung.person, rung.desk].filter(one => one !== undefined).length === 1, {
    error: rungExpected,
  })

export const signOffShape = z.strictObject(
  {
    setting: text('the id of a setting'),
    value: z.unknown(),
    by: z
      .array(text('the id of a person'), { error: 'a list of two people' })
      .min(2, { error: 'two different people' }),
    on: z
      .string({ error: 'a date, like 2026-05-01' })
      .refine(date => dayIn(date) !== undefined, { error: 'a date, like 2026-05-01' }),
  },
  { error: 'a sign-off, like { setting: tract-settled-after, value: P6W, by: [amara, ingrid], on: 2026-05-01 }' },
)

const smsFromExpected =
  'a number with + and the country code, a short number, or a name of at most 11 letters and digits'

export const pagersShape = z.strictObject({
  sms: z
    .strictObject({
      host: text('the name of the short message centre'),
      port: z
        .int({ error: 'a port number' })
        .min(1, { error: 'a port number' })
        .max(65_535, { error: 'a port number' }),
      security: oneOf(['tls', 'none']),
      'system-id': text('the name the telephone company gave you').max(15, { error: 'at most 15 characters' }),
      'password-file': text('the file that holds the password'),
      from: z
        .string({ error: smsFromExpected })
        .regex(/^(\+\d{7,15}|\d{3,8}|[A-Za-z0-9 ]{1,11})$/, { error: smsFromExpected }),
      'families-may-write': yesOrNo('whether families may write to this number').optional(),
    })
    .optional(),
  smtp: z
    .strictObject({
      host: text('the name of the mail server'),
      port: z
        .int({ error: 'a port number' })
        .min(1, { error: 'a port number' })
        .max(65_535, { error: 'a port number' }),
      security: oneOf(['tls', 'starttls', 'none']),
      from: text('the address mails come from'),
      user: text('the user name').optional(),
      'password-file': text('the file that holds the password').optional(),
    })
    .optional(),
  webhook: z
    .strictObject({
      'secret-file': text('the file that holds the signing secret'),
      'private-hosts': z
        .array(text('a host name'), { error: 'a list of host names inside your own network that may be called' })
        .optional(),
      // Where a demonstration's "demo:" leads in place of its own receiver: a program of this machine.
      'demo-receiver': text('the address of a receiver on this machine').optional(),
    })
    .optional(),
})
