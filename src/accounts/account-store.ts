/** The port to where accounts, sessions and the audit trail are kept. Apart from cases: another file, other rights. */
import type { Instant } from '../time/instant.ts'
import type { AuditAct, AuditHead, AuditLine, Deed } from './audit.ts'
import type { Role } from './authority.ts'
import type { SignedIn } from './signed-in.ts'

export interface Passkey {
  /** As WebAuthn writes it, base64url. */
  readonly credentialId: string
  /** COSE key (RFC 9052). */
  readonly publicKey: Uint8Array<ArrayBuffer>
  /** Signatures the authenticator has counted; 0 where it does not count. */
  readonly counter: number
  /** What the person calls it: "my phone". */
  readonly label: string
  readonly transports: readonly string[]
  readonly addedAt: Instant
  readonly usedAt?: Instant
}

/** How a person signs in. Everything else about a person stands in the clinic's file. */
export interface Account {
  readonly personId: string
  /** Argon2id, as a PHC string. */
  readonly password?: string
  readonly passkeys: readonly Passkey[]
  /** Accounts at the hospital's own sign-in. */
  readonly identities: readonly { readonly issuer: string; readonly subject: string }[]
}

export interface Session {
  /** Names it in lists; opens nothing. */
  readonly id: string
  readonly personId: string
  readonly how: SignedIn['how']
  /** The browser's own words about itself, shortened. */
  readonly browser: string
  readonly startedAt: Instant
  readonly seenAt: Instant
  /** Its end whatever is done with it. */
  readonly endsAt: Instant
}

export interface Invitation {
  readonly personId: string
  /** Id of an administrator, or `machine`. */
  readonly by: string
  readonly at: Instant
  readonly until: Instant
}

/** Failed tries under one key: an account or an address. */
export interface Attempts {
  readonly failures: number
  readonly lastAt: Instant
}

/** Tokens are known by their SHA-256 only: whoever reads the store opens nothing. */
export type AccountChange =
  | { readonly kind: 'set-password'; readonly personId: string; readonly password: string; readonly at: Instant }
  | { readonly kind: 'remove-password'; readonly personId: string }
  | { readonly kind: 'add-passkey'; readonly personId: string; readonly passkey: Passkey }
  /** Refused where the counter did not grow and is counted: somebody has a copy of the key. */
  | { readonly kind: 'use-passkey'; readonly credentialId: string; readonly counter: number; readonly at: Instant }
  | { readonly kind: 'remove-passkey'; readonly personId: string; readonly credentialId: string }
  | { readonly kind: 'add-identity'; readonly personId: string; readonly issuer: string; readonly subject: string }
  | { readonly kind: 'add-invitation'; readonly tokenHash: string; readonly invitation: Invitation }
  /** Refused unless it is unused, not withdrawn, and not past its end. */
  | { readonly kind: 'use-invitation'; readonly tokenHash: string; readonly at: Instant }
  | { readonly kind: 'withdraw-invitations'; readonly personId: string; readonly at: Instant }
  | { readonly kind: 'begin-session'; readonly tokenHash: string; readonly session: Session }
  /** Refused where there is no such session of that person. */
  | { readonly kind: 'end-session'; readonly personId: string; readonly sessionId: string }
  | { readonly kind: 'end-sessions'; readonly personId: string; readonly except?: string }

export interface AccountStore {
  account(personId: string): Promise<Account>
  accounts(): Promise<readonly Account[]>
  passkey(credentialId: string): Promise<(Passkey & { readonly personId: string }) | undefined>
  personOfIdentity(issuer: string, subject: string): Promise<string | undefined>
  /** Undefined where it was used, withdrawn, or has run out. */
  invitation(tokenHash: string, at: Instant): Promise<Invitation | undefined>
  /** Invitations that can still be used. */
  invitations(at: Instant): Promise<readonly Invitation[]>
  session(tokenHash: string): Promise<Session | undefined>
  sessions(personId?: string): Promise<readonly Session[]>
  /** Not in the audit trail: a page was asked for. */
  touch(sessionId: string, at: Instant): Promise<void>
  /** Sessions whose end came, or that nobody used since `unusedSince`. */
  forgetSessions(at: Instant, unusedSince: Instant): Promise<void>
  attempts(key: string): Promise<Attempts | undefined>
  noteFailure(key: string, at: Instant): Promise<void>
  /**
   * Counts a try as failed unless it is held back, in one step, so that many at once are not all let through; a try that then
   * goes well forgets it.
   * @param held  the instant until which a key with these failures is held back
   * @returns that instant; undefined where the try was counted and may be made
   */
  noteTry(
    key: string,
    at: Instant,
    held: (attempts: Attempts | undefined) => Instant | undefined,
  ): Promise<Instant | undefined>
  forgetFailures(key: string): Promise<void>
  /** Failures older than that are forgotten. */
  forgetFailuresBefore(at: Instant): Promise<void>
  /**
   * Changes and their line in the audit trail, in one transaction: neither is ever kept without the other.
   * `refused` where a change could not be made as it says: then nothing was changed and no line was written.
   */
  change(act: AuditAct | readonly AuditAct[], changes: readonly AccountChange[]): Promise<'done' | 'refused'>
  /**
   * Roles as the clinic's file has them now. Where they differ from what was noted last, one line each with both; the
   * first time a person is seen, from none.
   */
  noteRoles(people: ReadonlyMap<string, readonly Role[]>, at: Instant): Promise<void>
  /** The whole trail, or its lines from one on, in order. */
  audit(from?: number): Promise<readonly AuditLine[]>
  /** The last line of a kind. */
  lastAudited(did: Deed): Promise<AuditLine | undefined>
  /** When each person last signed in, by id. */
  lastSignIns(): Promise<ReadonlyMap<string, Instant>>
  auditHead(): Promise<AuditHead | undefined>
  close(): Promise<void>
}
