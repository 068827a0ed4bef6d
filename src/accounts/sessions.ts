import { after, before, hours, type Instant, type Milliseconds, minutes } from '../time/instant.ts'
import { type AccountPorts, type Acting, idOf, memberOf, newToken } from './account-ports.ts'
import type { AccountChange, Session } from './account-store.ts'
import { mayDo } from './authority.ts'
import type { SignedIn } from './signed-in.ts'
import { tokenHash } from './tokens.ts'

/**
 * A session ends after half a day whatever is done with it, and after an hour in which nothing was: NIST SP 800-63B-4 asks at
 * its second level for a day and an hour at most. A clinician on a night of 14 hours signs in once more; the link in a page
 * needs no signing in.
 */
export const SESSION_LASTS: Milliseconds = hours(12)
export const SESSION_IDLE: Milliseconds = hours(1)
/** Ways of signing in are changed only by somebody who has just signed in: not by whoever finds an open screen. */
export const SESSION_FRESH: Milliseconds = minutes(10)
/** How often it is written down that a session is in use. */
const TOUCH_EVERY: Milliseconds = minutes(1)
const BROWSER_LENGTH_MOST = 120

/** A session that begins: its token goes into the cookie and is kept nowhere. */
export interface Begun {
  readonly token: string
  readonly session: Session
  readonly change: AccountChange
}

export interface Sessions {
  /** Who holds this token; undefined where the session has ended or the person has left. */
  signedIn(token: string | undefined): Promise<SignedIn | undefined>
  /** Whether the session began just now; see {@link SESSION_FRESH}. */
  isFresh(who: SignedIn): Promise<boolean>
  /** Sessions of a person that have not ended. */
  of(personId: string): Promise<readonly Session[]>
  /** A session to be begun with a change of the store. */
  begin(personId: string, how: SignedIn['how'], browser: string): Begun
  signOut(who: SignedIn): Promise<void>
  /** False where the table does not allow it, or there is no such session. */
  end(acting: Acting, personId: string, sessionId: string): Promise<boolean>
  /** All of a person's, but the one that acts. False where the table does not allow it. */
  endAll(acting: Acting, personId: string): Promise<boolean>
}

export function sessions(ports: AccountPorts): Sessions {
  const { store } = ports
  const unusedSince = (at: Instant) => before(at, SESSION_IDLE)
  const hasEnded = ({ endsAt, seenAt }: Session, at: Instant) => endsAt <= at || seenAt <= unusedSince(at)

  return {
    async signedIn(token) {
      if (token === undefined) return undefined
      const session = await store.session(tokenHash(token))
      const at = ports.now()
      if (session === undefined || hasEnded(session, at)) return undefined
      const person = memberOf(ports, session.personId)
      if (person === undefined) return undefined
      if (session.seenAt + TOUCH_EVERY <= at) await store.touch(session.id, at)
      const { id: personId, name, roles = [] } = person
      return { personId, name, roles, isOnCall: ports.isOnCall(personId), sessionId: session.id, how: session.how }
    },
    async isFresh({ personId, sessionId }) {
      const session = (await store.sessions(personId)).find(({ id }) => id === sessionId)
      return session !== undefined && session.startedAt + SESSION_FRESH > ports.now()
    },
    async of(personId) {
      const at = ports.now()
      return (await store.sessions(personId)).filter(session => !hasEnded(session, at))
    },
    begin(personId, how, browser) {
      const token = newToken(ports)
      const at = ports.now()
      const session = {
        id: Buffer.from(ports.bytes(8)).toString('hex'),
        personId,
        how,
        browser: browser.replace(/\p{Cc}/gu, ' ').slice(0, BROWSER_LENGTH_MOST),
        startedAt: at,
        seenAt: at,
        endsAt: after(at, SESSION_LASTS),
      }
      return { token, session, change: { kind: 'begin-session', tokenHash: tokenHash(token), session } }
    },
    async signOut({ personId, sessionId }) {
      const act = { at: ports.now(), who: personId, did: 'signed-out', on: sessionId } as const
      await store.change(act, [{ kind: 'end-session', personId, sessionId }])
    },
    async end(acting, personId, sessionId) {
      if (!mayEnd(acting, personId)) return false
      const act = { at: ports.now(), who: idOf(acting), did: 'session-ended', on: `${personId} ${sessionId}` } as const
      return (await store.change(act, [{ kind: 'end-session', personId, sessionId }])) === 'done'
    },
    async endAll(acting, personId) {
      if (!mayEnd(acting, personId)) return false
      const except = acting !== 'machine' && 'sessionId' in acting ? { except: String(acting.sessionId) } : {}
      const act = { at: ports.now(), who: idOf(acting), did: 'session-ended', on: `${personId} all` } as const
      return (await store.change(act, [{ kind: 'end-sessions', personId, ...except }])) === 'done'
    },
  }
}

/** By the table, or at the machine itself. */
export const mayEnd = (acting: Acting, personId: string): boolean =>
  acting === 'machine' || mayDo(acting, 'end-sessions', { personId })
