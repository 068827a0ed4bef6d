import type { Role } from './authority.ts'

/** Somebody who is signed in, as of one request. Handed to `mayDo` as it is. */
export interface SignedIn {
  /** Id of the person in the clinic's file. */
  readonly personId: string
  readonly name: string
  /** As the clinic's file has them now: a role taken away is gone with the next request. */
  readonly roles: readonly Role[]
  /** Whether the clinic's ladder reaches this person now. */
  readonly isOnCall: boolean
  /** Names the session in lists and in the audit trail; opens nothing. */
  readonly sessionId: string
  /** `demonstration`: nobody is, in a demonstration that is open to whoever looks. */
  readonly how: 'passkey' | 'password' | 'single-sign-on' | 'demonstration'
}

/** Who sends this request; undefined where nobody is signed in, the session has ended, or the person has left. */
export type ReadSignedIn = (request: Request) => Promise<SignedIn | undefined>
