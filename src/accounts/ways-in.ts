import { after, hours, type Milliseconds } from '../time/instant.ts'
import { type AccountPorts, type Acting, idOf, memberOf, newToken } from './account-ports.ts'
import type { Account, AccountChange, Invitation, Passkey } from './account-store.ts'
import type { AuditAct, Deed } from './audit.ts'
import { mayDo } from './authority.ts'
import { type PasswordFault, passwordFault } from './password-rules.ts'
import { mayEnd, type Sessions } from './sessions.ts'
import type { From } from './sign-in.ts'
import type { SignedIn } from './signed-in.ts'
import { tokenHash } from './tokens.ts'

/** An invitation is used within a day, or made anew. */
export const INVITATION_LIVES: Milliseconds = hours(24)
/** Passkeys of one person, at most. */
export const PASSKEYS_MOST = 10

/** What somebody sets up to sign in with. */
export type WayIn =
  | { readonly kind: 'password'; readonly password: string }
  | { readonly kind: 'passkey'; readonly passkey: Omit<Passkey, 'addedAt' | 'usedAt'> }
  | { readonly kind: 'identity'; readonly issuer: string; readonly subject: string }

export type SetUp =
  | { readonly kind: 'done'; readonly token: string }
  | { readonly kind: 'refused'; readonly why: PasswordFault | 'not-fresh' | 'invitation-gone' | 'taken' | 'too-many' }

/** Invitations, and the ways a person signs in. */
export interface WaysIn {
  /** The token of a new invitation; earlier ones of that person no longer work. Undefined where it may not be made. */
  invite(
    acting: Acting,
    personId: string,
  ): Promise<{ readonly token: string; readonly until: Invitation['until'] } | undefined>
  withdrawInvitations(acting: Acting, personId: string): Promise<boolean>
  /** Whom it is for. Called on GET too: it changes nothing. */
  invited(token: string): Promise<Invitation | undefined>
  /** Uses the invitation up and signs in. */
  accept(token: string, way: WayIn, from: From): Promise<SetUp>
  /** Another way in, or a new password, by somebody who has just signed in. Every other session of theirs ends. */
  add(who: SignedIn, way: WayIn, from: From): Promise<SetUp>
  /** False where there is no such passkey, it is the only way in, or the session is not fresh. */
  removePasskey(who: SignedIn, credentialId: string): Promise<boolean>
  /** The telephone is lost: every session and every way in of that person is gone, and they are invited anew. */
  startAnew(acting: Acting, personId: string): ReturnType<WaysIn['invite']>
}

export function waysIn(ports: AccountPorts, sessions: Sessions): WaysIn {
  const { store } = ports
  const act = (who: string, did: Deed, on: string): AuditAct => ({ at: ports.now(), who, did, on })

  async function invite(acting: Acting, personId: string, before: { acts: AuditAct[]; changes: AccountChange[] }) {
    if (acting !== 'machine' && !mayDo(acting, 'invite-people', { personId })) return undefined
    if (memberOf(ports, personId) === undefined) return undefined
    const token = newToken(ports)
    const at = ports.now()
    const until = after(at, INVITATION_LIVES)
    await store.change(
      [...before.acts, act(idOf(acting), 'invited', personId)],
      [
        ...before.changes,
        { kind: 'withdraw-invitations', personId, at },
        {
          kind: 'add-invitation',
          tokenHash: tokenHash(token),
          invitation: { personId, by: idOf(acting), at, until },
        },
      ],
    )
    return { token, until }
  }

  /** What a way in comes to, or why it cannot be taken. */
  async function prepared(
    personId: string,
    way: WayIn,
  ): Promise<{ readonly change: AccountChange; readonly did: Deed } | Extract<SetUp, { kind: 'refused' }>['why']> {
    const at = ports.now()
    switch (way.kind) {
      case 'password': {
        const fault = passwordFault(way.password, [...ports.ownWords(), personId])
        if (fault !== undefined) return fault
        const password = await ports.hashing.hash(way.password)
        return { change: { kind: 'set-password', personId, password, at }, did: 'password-set' }
      }
      case 'passkey': {
        if ((await store.account(personId)).passkeys.length >= PASSKEYS_MOST) return 'too-many'
        const passkey = { ...way.passkey, addedAt: at }
        return { change: { kind: 'add-passkey', personId, passkey }, did: 'passkey-added' }
      }
      case 'identity':
        return {
          change: { kind: 'add-identity', personId, issuer: way.issuer, subject: way.subject },
          did: 'identity-linked',
        }
    }
  }

  const howOf = ({ kind }: WayIn): SignedIn['how'] => (kind === 'identity' ? 'single-sign-on' : kind)

  async function setUp(
    personId: string,
    way: WayIn,
    from: From,
    first: { readonly acts: readonly AuditAct[]; readonly changes: readonly AccountChange[] },
  ): Promise<SetUp> {
    const made = await prepared(personId, way)
    if (typeof made === 'string') return { kind: 'refused', why: made }
    const { token, session, change } = sessions.begin(personId, howOf(way), from.browser)
    const done = await store.change(
      [...first.acts, act(personId, made.did, personId), act(personId, 'signed-in', `${session.id} ${session.how}`)],
      [...first.changes, made.change, { kind: 'end-sessions', personId }, change],
    )
    return done === 'done' ? { kind: 'done', token } : { kind: 'refused', why: 'taken' }
  }

  return {
    invite: (acting, personId) => invite(acting, personId, { acts: [], changes: [] }),
    async withdrawInvitations(acting, personId) {
      if (acting !== 'machine' && !mayDo(acting, 'invite-people', { personId })) return false
      const change: AccountChange = { kind: 'withdraw-invitations', personId, at: ports.now() }
      return (await store.change(act(idOf(acting), 'invitation-withdrawn', personId), [change])) === 'done'
    },
    async invited(token) {
      const found = await store.invitation(tokenHash(token), ports.now())
      return found === undefined || memberOf(ports, found.personId) === undefined ? undefined : found
    },
    async accept(token, way, from) {
      const invitation = await this.invited(token)
      if (invitation === undefined) return { kind: 'refused', why: 'invitation-gone' }
      const { personId } = invitation
      const set = await setUp(personId, way, from, {
        acts: [act(personId, 'invitation-used', invitation.by)],
        changes: [{ kind: 'use-invitation', tokenHash: tokenHash(token), at: ports.now() }],
      })
      const isGone = set.kind === 'refused' && set.why === 'taken' && (await this.invited(token)) === undefined
      return isGone ? { kind: 'refused', why: 'invitation-gone' } : set
    },
    async add(who, way, from) {
      if (!(await sessions.isFresh(who))) return { kind: 'refused', why: 'not-fresh' }
      return setUp(who.personId, way, from, { acts: [], changes: [] })
    },
    async removePasskey(who, credentialId) {
      const { personId } = who
      const account = await store.account(personId)
      if (waysOf(account) < 2 || !(await sessions.isFresh(who))) return false
      const change: AccountChange = { kind: 'remove-passkey', personId, credentialId }
      return (await store.change(act(personId, 'passkey-removed', personId), [change])) === 'done'
    },
    async startAnew(acting, personId) {
      if (!mayEnd(acting, personId)) return undefined
      const { passkeys, password } = await store.account(personId)
      const changes: AccountChange[] = [
        { kind: 'end-sessions', personId },
        ...passkeys.map(({ credentialId }): AccountChange => ({ kind: 'remove-passkey', personId, credentialId })),
        ...(password === undefined ? [] : [{ kind: 'remove-password', personId } as const]),
      ]
      const who = idOf(acting)
      const acts = [
        act(who, 'session-ended', `${personId} all`),
        ...passkeys.map(() => act(who, 'passkey-removed', personId)),
        ...(password === undefined ? [] : [act(who, 'password-removed', personId)]),
      ]
      return invite(acting, personId, { acts, changes })
    },
  }
}

const waysOf = ({ password, passkeys, identities }: Account): number =>
  (password === undefined ? 0 : 1) + passkeys.length + identities.length
