import { before, type Instant } from '../time/instant.ts'
import { type AccountPorts, memberOf } from './account-ports.ts'
import type { AccountChange } from './account-store.ts'
import type { AuditAct } from './audit.ts'
import { HashingBusy } from './password-hash.ts'
import { SESSION_IDLE, type Sessions } from './sessions.ts'
import type { SignedIn } from './signed-in.ts'
import { tokenHash } from './tokens.ts'
import { FAILURES_LIVE, waitUntil } from './waits.ts'

/** Where a try to sign in comes from. */
export interface From {
  /** Network address as far as it is known. */
  readonly address: string
  /** The browser's own words about itself. */
  readonly browser: string
  /** The token the browser still holds: that session ends. */
  readonly oldToken?: string
}

export type SignInOutcome =
  | { readonly kind: 'signed-in'; readonly token: string; readonly who: { readonly personId: string } }
  /** Name or password are not right; which of them is not said. */
  | { readonly kind: 'wrong' }
  /** Nothing was looked at: too many tries went wrong. */
  | { readonly kind: 'wait'; readonly until: Instant }
  /** Nothing was looked at: too many try at once. */
  | { readonly kind: 'busy' }

export interface SignIn {
  /** @param name  id of the person, as typed */
  withPassword(name: string, password: string, from: From): Promise<SignInOutcome>
  /** Begins a session for somebody whom a passkey or the hospital's own sign-in has proved. */
  proved(personId: string, how: SignedIn['how'], from: From, changes?: readonly AccountChange[]): Promise<SignInOutcome>
  /** A try that proved nobody: a passkey that is not ours, a sign-on gone wrong. */
  failed(from: From): Promise<void>
  /** The instant from which this address may try again; undefined where it may now. */
  waitOf(from: From): Promise<Instant | undefined>
}

export function signIn(ports: AccountPorts, sessions: Sessions): SignIn {
  const { store, hashing } = ports
  const addressKey = ({ address }: From) => `address:${tokenHash(address)}`

  async function failed(from: From, on: string): Promise<void> {
    const at = ports.now()
    await store.noteFailure(addressKey(from), at)
    await store.change({ at, who: 'nobody', did: 'sign-in-failed', on }, [])
  }

  async function begin(
    personId: string,
    how: SignedIn['how'],
    from: From,
    changes: readonly AccountChange[],
    alsoDid: readonly AuditAct[] = [],
  ): Promise<SignInOutcome> {
    const at = ports.now()
    await store.forgetSessions(at, before(at, SESSION_IDLE))
    await store.forgetFailuresBefore(before(at, FAILURES_LIVE))
    const old = from.oldToken === undefined ? undefined : await store.session(tokenHash(from.oldToken))
    const { token, session, change } = sessions.begin(personId, how, from.browser)
    const ending: readonly AccountChange[] =
      old === undefined ? [] : [{ kind: 'end-session', personId: old.personId, sessionId: old.id }]
    const act = { at, who: personId, did: 'signed-in', on: `${session.id} ${how}` } as const
    const done = await store.change([...alsoDid, act], [...changes, ...ending, change])
    return done === 'done' ? { kind: 'signed-in', token, who: { personId } } : { kind: 'wrong' }
  }

  return {
    waitOf: async from => waitUntil('address', await store.attempts(addressKey(from)), ports.now()),
    failed: from => failed(from, 'unknown'),
    async withPassword(said, password, from) {
      const name = said.normalize('NFC').trim().toLowerCase()
      // A name that does not exist may be a password typed into the wrong field: its digest is kept, not it.
      const accountKey = `account:${tokenHash(name)}`
      const now = ports.now()
      const until =
        waitUntil('address', await store.attempts(addressKey(from)), now) ??
        (await store.noteTry(accountKey, now, attempts => waitUntil('account', attempts, now)))
      if (until !== undefined) return { kind: 'wait', until }
      const person = memberOf(ports, name)
      const { password: kept } = await store.account(name)
      const found = await verified(person === undefined ? undefined : kept, password)
      if (found === 'busy') return { kind: 'busy' }
      if (found === 'wrong' || person === undefined) {
        await failed(from, person === undefined ? 'unknown' : name)
        return { kind: 'wrong' }
      }
      await store.forgetFailures(accountKey)
      const anew: readonly AccountChange[] =
        found === 'old'
          ? [{ kind: 'set-password', personId: name, password: await hashing.hash(password), at: now }]
          : []
      return begin(name, 'password', from, anew)
    },
    async proved(personId, how, from, changes = []) {
      return memberOf(ports, personId) === undefined ? { kind: 'wrong' } : begin(personId, how, from, changes)
    },
  }

  async function verified(kept: string | undefined, password: string): Promise<'right' | 'old' | 'wrong' | 'busy'> {
    try {
      // What is longer can be no password of ours; as much of it is looked at, so that it takes as long.
      return await hashing.verify(password.length > 1_000 ? undefined : kept, password.slice(0, 1_000))
    } catch (error) {
      if (error instanceof HashingBusy) return 'busy'
      throw error
    }
  }
}
