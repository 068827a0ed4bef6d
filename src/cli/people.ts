import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { loadClinic } from '../config/clinic-file.ts'
import { nearestId } from '../flow/problem.ts'
import { type Clinic, isPagedBy, type Person } from '../oncall/clinic.ts'
import { sha256, systemClock, systemRandom } from '../runtime/system-clock.ts'
import { openTelegramFile, type TelegramFile } from '../store/sqlite/telegram-file.ts'
import { type BotAccounts, openAccounts } from './bot-accounts.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { dataFiles, openDataFolder } from './data-folder.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { reportProblems } from './problems.ts'
import { CODE_BYTES, newCodeFor } from './telegram-code.ts'

interface Call {
  readonly members: BotAccounts
  readonly clinic: Clinic
  /** Scheme and host that links begin with. */
  readonly origin: string
  readonly isJson: boolean
  /** Opens the file of linked accounts. */
  readonly telegramFile: () => TelegramFile
}

const ACTIONS: Readonly<Record<string, (call: Call, person: Person) => Promise<number>>> = {
  invite: (call, person) => invite(call, person, 'invite'),
  'start-anew': (call, person) => invite(call, person, 'startAnew'),
  'end-sessions': endSessions,
  telegram: linkTelegram,
  'telegram-unlink': unlinkTelegram,
}

export const peopleCommand: Command = {
  name: 'people',
  summary:
    'who may sign in and how: "people", "people invite ID", "people end-sessions ID", "people start-anew ID", "people telegram ID"',
  usage: [
    'smallhours people                  everybody of the clinic file, in which roles, and how they sign in',
    'smallhours people invite ID        prints a link, once, with which that person sets up signing in; it works for a day',
    'smallhours people end-sessions ID  signs that person out everywhere',
    'smallhours people start-anew ID    a telephone is lost: takes away every way of signing in, and invites anew',
    'smallhours people telegram ID      prints a code, once, with which that person links their Telegram account; it works for a day',
    'smallhours people telegram-unlink ID  pages go to no Telegram account of that person any more',
    'each with [--clinic FOLDER] [--data FOLDER] [--origin ADDRESS] [--json]',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      origin: { type: 'string' },
      json: { type: 'boolean', default: false },
    })
    const [name = 'list', id, ...more] = positionals
    const action = Object.hasOwn(ACTIONS, name) ? ACTIONS[name] : undefined
    if ((action === undefined && name !== 'list') || more.length > 0)
      throw new CalledWrongly(`one of list, ${Object.keys(ACTIONS).join(', ')} was expected, with one ID`)
    const clock = systemClock()
    const { asRead: clinic, problems } = loadClinic(values.clinic, clock.now())
    if (clinic === undefined) {
      reportProblems(problems)
      return 1
    }
    const person = action === undefined ? undefined : personIn(clinic, id)
    if (!clinic.demonstration && !existsSync(dataFiles(values.data).signingKeyFile))
      throw new CalledWrongly(`--data ${values.data}: the data folder of the bot was expected, where it keeps its keys`)
    const { accountsFile, telegramFile } = openDataFolder(values.data, systemRandom())
    const members = openAccounts({
      file: accountsFile,
      clinic: () => clinic,
      content: () => sha256(JSON.stringify(clinic)),
      approvals: () => [],
      clock,
      random: systemRandom(),
    })
    const origin = originSaid(values.origin ?? clinic.webAddress ?? 'http://localhost:8080')
    try {
      const call = { members, clinic, origin, isJson: values.json, telegramFile: () => openTelegramFile(telegramFile) }
      return action === undefined || person === undefined ? await list(call) : await action(call, person)
    } finally {
      await members.close()
    }
  },
}

function personIn({ people }: Clinic, id: string | undefined): Person {
  const ids = people.map(one => one.id)
  const person = people.find(one => one.id === id)
  if (person !== undefined) return person
  const nearest = nearestId(id ?? '', ids)
  throw new CalledWrongly(
    `"${id ?? ''}": the id of a person of the clinic file was expected${nearest === undefined ? `: ${ids.join(', ')}` : `; did you mean "${nearest}"?`}`,
  )
}

function originSaid(said: string): string {
  const url = URL.canParse(said) ? new URL(said) : undefined
  const isHere = url?.hostname === 'localhost'
  if (url?.protocol === 'https:' || (url?.protocol === 'http:' && isHere)) return url.origin
  throw new CalledWrongly(
    `--origin ${said}: an address that starts with https:// was expected, or http://localhost:PORT`,
  )
}

async function invite({ members, origin, isJson }: Call, person: Person, how: 'invite' | 'startAnew'): Promise<number> {
  const made = await members.accounts.waysIn[how]('machine', person.id)
  if (made === undefined) {
    const why = person.left === true ? 'has left the clinic' : 'has no role'
    complain(
      `people: ${person.id} ${why}, so there is nothing to sign in for. Write "roles: [on-call]" (or lead, reviewer, administrator) at this person in the clinic file`,
    )
    return 1
  }
  const link = `${origin}/invited/${made.token}`
  const until = new Date(made.until).toISOString()
  if (isJson) print(JSON.stringify({ person: person.id, link, until }))
  else print(`For ${person.name} and nobody else, once, until ${until}:\n${link}\nIt is printed only now.`)
  return 0
}

async function endSessions({ members, isJson }: Call, { id, name }: Person): Promise<number> {
  const before = (await members.accounts.sessions.of(id)).length
  await members.accounts.sessions.endAll('machine', id)
  if (isJson) print(JSON.stringify({ person: id, ended: before }))
  else print(`${name} was signed in at ${before} places and is now at none.`)
  return 0
}

/** A code for one account, once: whoever has it gets that person's pages. */
async function linkTelegram(
  { telegramFile, isJson, clinic, members }: Call,
  { id, name, left }: Person,
): Promise<number> {
  if (left === true) {
    complain(`people: ${id} has left the clinic and is paged no more`)
    return 1
  }
  if (!isPagedBy(clinic, id, 'telegram')) {
    complain(
      `people: ${id} is not paged by Telegram. Write "- { pager: telegram }" under page-at of this person in the clinic file`,
    )
    return 1
  }
  const at = systemClock().now()
  await members.store.change({ at, who: 'machine', did: 'telegram-code-made', on: id }, [])
  const file = telegramFile()
  const { code, link, until } = newCodeFor(file, id, at, systemRandom().bytes(CODE_BYTES))
  file.close()
  const ends = new Date(until).toISOString()
  if (isJson) print(JSON.stringify({ person: id, code, link: link ?? null, until: ends }))
  else {
    const how = link === undefined ? `Send this to the clinic's bot on Telegram:\n/start ${code}` : link
    print(`For ${name} and nobody else, once, until ${ends}:\n${how}\nIt is printed only now.`)
  }
  return 0
}

async function unlinkTelegram({ telegramFile, isJson, members }: Call, { id, name }: Person): Promise<number> {
  const file = telegramFile()
  const unlinked = file.unlink(id)
  file.close()
  await members.store.change({ at: systemClock().now(), who: 'machine', did: 'telegram-unlinked', on: id }, [])
  if (isJson) print(JSON.stringify({ person: id, unlinked }))
  else print(`${name} had ${unlinked} Telegram accounts linked and now has none.`)
  return 0
}

async function list({ members, clinic, isJson }: Call): Promise<number> {
  const { store, sessions } = members.accounts
  const last = await store.lastSignIns()
  const rows = await Promise.all(
    clinic.people.map(async ({ id, name, roles = [], left }) => {
      const { password, passkeys, identities } = await store.account(id)
      const lastSignIn = last.get(id)
      return {
        id,
        name,
        roles,
        left: left === true,
        passkeys: passkeys.length,
        password: password !== undefined,
        hospitalSignIn: identities.length > 0,
        sessions: (await sessions.of(id)).length,
        ...(lastSignIn === undefined ? {} : { lastSignIn: new Date(lastSignIn).toISOString() }),
      }
    }),
  )
  if (isJson) print(JSON.stringify(rows))
  else for (const row of rows) print(rowText(row))
  return 0
}

function rowText(row: {
  readonly id: string
  readonly name: string
  readonly roles: readonly string[]
  readonly left: boolean
  readonly passkeys: number
  readonly password: boolean
  readonly hospitalSignIn: boolean
  readonly sessions: number
  readonly lastSignIn?: string
}): string {
  const ways = [
    ...(row.passkeys === 0 ? [] : [`passkeys: ${row.passkeys}`]),
    ...(row.password ? ['password'] : []),
    ...(row.hospitalSignIn ? ['hospital sign-in'] : []),
  ]
  const roles = row.left ? 'has left' : row.roles.length === 0 ? 'no role' : row.roles.join(', ')
  const seen = row.lastSignIn === undefined ? '' : `; last signed in ${row.lastSignIn}`
  return `${row.id.padEnd(12)} ${row.name}: ${roles}; ${ways.length === 0 ? 'cannot sign in yet' : ways.join(', ')}${seen}`
}
