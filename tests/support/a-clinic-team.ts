import { randomBytes } from 'node:crypto'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { type Accounts, accounts } from '../../src/accounts/accounts.ts'
import { passwordHashing } from '../../src/accounts/password-hash.ts'
import { challenges } from '../../src/accounts/tokens.ts'
import { type AccountPages, accountPages } from '../../src/http/account-pages.ts'
import { passkeys } from '../../src/http/passkeys.ts'
import type { SingleSignOn } from '../../src/http/single-sign-on.ts'
import type { TelegramLinks } from '../../src/http/telegram-links.ts'
import type { Person, Role } from '../../src/oncall/clinic.ts'
import { openAccountFile } from '../../src/store/sqlite/account-file.ts'
import { type Instant, instant, type Milliseconds } from '../../src/time/instant.ts'
import { screenWording } from './screen-words.ts'
import { ORIGIN } from './web-visitor.ts'

export const bytes = (count: number): Uint8Array => new Uint8Array(randomBytes(count))

const person = (id: string, roles: readonly Role[], over: Partial<Person> = {}): Person => ({
  kind: 'person',
  id,
  name: `${id[0]?.toUpperCase()}${id.slice(1)} Example`,
  job: 'nurse',
  clinician: !roles.includes('administrator'),
  approves: roles.includes('lead'),
  roles,
  pageAt: [],
  ...over,
})

/** An invented clinic's people, accounts in a file of their own, and a clock that is moved by hand. */
export interface Team {
  readonly accounts: Accounts
  readonly pages: AccountPages
  readonly people: Person[]
  readonly onCall: Set<string>
  readonly file: string
  now(): Instant
  pass(length: Milliseconds): void
  /** A session of this person, without going through a page. */
  tokenOf(personId: string): Promise<string>
  close(): Promise<void>
}

export const FROM = { address: '192.0.2.7', browser: 'Mozilla/5.0 (X11; Linux) Firefox/140.0' } as const
export const GOOD_PASSWORD = 'window ladder otter tin'

export function aTeam(
  over: {
    readonly origin?: string
    readonly demonstration?: boolean
    readonly singleSignOn?: SingleSignOn
    readonly telegram?: TelegramLinks
  } = {},
): Team {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-team-'))
  const file = join(folder, 'accounts.sqlite')
  let at = Date.parse('2026-03-01T02:00:00Z')
  const people = [
    person('amara', ['on-call', 'lead']),
    person('linh', ['on-call']),
    person('ravi', ['reviewer']),
    person('malia', ['administrator']),
    person('noor', [], { name: 'Noor Example' }),
    person('otto', ['on-call', 'lead'], { left: true }),
  ]
  const onCall = new Set<string>()
  const now = () => instant(at)
  const store = openAccountFile(file)
  const all = accounts({
    store,
    people: () => people,
    isOnCall: id => onCall.has(id),
    now,
    bytes,
    hashing: passwordHashing(bytes),
    ownWords: () => ['Harbour Lights feeding clinic', ...people.map(({ name }) => name)],
  })
  const pages = accountPages({
    accounts: all,
    people: () => people,
    now,
    dayText: one => new Date(one).toISOString().slice(0, 16).replace('T', ' '),
    passkeys: passkeys({ challenges: challenges(bytes(32), bytes), now, clinicName: () => 'Harbour Lights' }),
    wording: screenWording,
    desk: () => ({ label: 'Desk', number: '+12025550166' }),
    randomId: () => randomBytes(16).toString('hex'),
    demonstration: over.demonstration ?? false,
    ...(over.origin === undefined ? {} : { origin: over.origin }),
    ...(over.telegram === undefined ? {} : { telegram: over.telegram }),
    ...(over.singleSignOn === undefined ? {} : { singleSignOn: over.singleSignOn }),
  })
  return {
    accounts: all,
    pages,
    people,
    onCall,
    file,
    now,
    pass(length) {
      at += length
    },
    async tokenOf(personId) {
      const begun = all.sessions.begin(personId, 'passkey', FROM.browser)
      const act = { at: now(), who: personId, did: 'signed-in', on: begun.session.id } as const
      await store.change(act, [begun.change])
      return begun.token
    },
    async close() {
      await store.close()
      rmSync(folder, { recursive: true })
    },
  }
}

/** Headers of a post that comes from one of our own pages, by whoever holds the token. */
export const fromOwnPage = (token?: string, origin = ORIGIN): Record<string, string> => ({
  origin,
  'content-type': 'application/x-www-form-urlencoded',
  ...(token === undefined ? {} : { cookie: `clinic=${token}` }),
})
