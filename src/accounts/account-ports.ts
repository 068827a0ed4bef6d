import type { Person } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import type { AccountStore } from './account-store.ts'
import type { Asking } from './authority.ts'
import type { PasswordHashing } from './password-hash.ts'

/** What accounts need from the rest of the bot. */
export interface AccountPorts {
  readonly store: AccountStore
  /** The people of the clinic's file, as it is now. */
  people(): readonly Person[]
  /** Whether the clinic's ladder reaches this person now. */
  isOnCall(personId: string): boolean
  now(): Instant
  /** Random bytes of the platform's cryptography. */
  bytes(count: number): Uint8Array
  readonly hashing: PasswordHashing
  /** Words of the place that make no password: names of the clinic, its hospitals, its people. */
  ownWords(): readonly string[]
}

/** Who acts: somebody signed in, or somebody at a command line of the machine. */
export type Acting = Extract<Asking, { personId: string }> | 'machine'

export const idOf = (acting: Acting): string => (acting === 'machine' ? 'machine' : acting.personId)

/** The person with this id who may sign in: there, and in some role. */
export function memberOf({ people }: Pick<AccountPorts, 'people'>, personId: string): Person | undefined {
  const person = people().find(({ id }) => id === personId)
  return person === undefined || person.left === true || (person.roles ?? []).length === 0 ? undefined : person
}

/** A token: 256 random bits, base64url. */
export const newToken = ({ bytes }: Pick<AccountPorts, 'bytes'>): string => Buffer.from(bytes(32)).toString('base64url')
