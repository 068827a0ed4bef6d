/** Signing in, put together: the file of accounts, who is on call, and the pages. */
import { createHmac } from 'node:crypto'
import { readFileSync } from 'node:fs'
import type { AccountStore } from '../accounts/account-store.ts'
import { type Accounts, accounts } from '../accounts/accounts.ts'
import type { AuditAct } from '../accounts/audit.ts'
import { passwordHashing } from '../accounts/password-hash.ts'
import { type Challenges, challenges } from '../accounts/tokens.ts'
import type { HospitalSignIn } from '../config/sign-in-section.ts'
import { type AccountPages, accountPages } from '../http/account-pages.ts'
import type { AccountPagesPorts } from '../http/account-ports.ts'
import type { ClinicPagePorts } from '../http/clinic-page.ts'
import { passkeys } from '../http/passkeys.ts'
import { type SingleSignOn, singleSignOn } from '../http/single-sign-on.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { rungsAt } from '../oncall/ladder.ts'
import type { Clock, Random } from '../runtime/clock.ts'
import { openAccountFile } from '../store/sqlite/account-file.ts'
import type { Instant } from '../time/instant.ts'

export interface AccountSituation {
  /** Path of the file of accounts. */
  readonly file: string
  /** The clinic as its file is now. */
  clinic(): Clinic
  /** Hash of everything in the clinic's folder that decides. */
  content(): string
  /** Approvals and withdrawals as they stand in the clinic's folder. */
  approvals(): readonly ApprovalNoted[]
  readonly clock: Pick<Clock, 'now'>
  readonly random: Pick<Random, 'bytes'>
}

/** A line of a file of approvals. */
export interface ApprovalNoted {
  readonly part: string
  readonly by: string
  readonly hash: string
  readonly did: 'approved' | 'approval-withdrawn'
}

export interface BotAccounts {
  readonly accounts: Accounts
  readonly store: AccountStore
  pages(
    ports: ClinicPagePorts &
      Pick<AccountPagesPorts, 'telegram'> & {
        readonly signingKey: Uint8Array
        readonly hospital?: HospitalSignIn | undefined
      },
  ): AccountPages
  /**
   * Notes in the audit trail that the clinic's files are others than before, and whose roles changed. Called at the start and
   * when they were read anew.
   * @param who  the person who changed them on a page; left out: they were changed on disk
   */
  clinicRead(who?: string): Promise<void>
  close(): Promise<void>
}

/** @throws StoreUnusable as the store does */
export function openAccounts({ file, clinic, content, approvals, clock, random }: AccountSituation): BotAccounts {
  const store = openAccountFile(file)
  const now = () => clock.now()
  const bytes = (count: number) => random.bytes(count)
  const people = () => clinic().people
  const all = accounts({
    store,
    people,
    isOnCall: personId => rungsAt(clinic(), now()).some(({ id }) => id === personId),
    now,
    bytes,
    hashing: passwordHashing(bytes),
    ownWords: () => placeWords(clinic()),
  })
  /** Approvals in the clinic's folder that have no line of their own: given on another machine, or before there was a trail. */
  async function found(): Promise<readonly AuditAct[]> {
    const lines = await store.audit()
    const keyOf = (one: { did: string; hash?: string | undefined; by: string; part: string }) =>
      JSON.stringify([one.did, one.part, one.by, one.hash])
    const known = new Set(
      lines.flatMap(({ did, on, who, before, after }) => {
        const hash = did === 'approval-withdrawn' ? before : after
        const [part = '', by = who] = on.split(' by ')
        // Whoever puts a part back withdraws what stood there.
        const withdrawn = did === 'rolled-back' ? [keyOf({ did: 'approval-withdrawn', part, by, hash: before })] : []
        return [keyOf({ did, part, by, hash }), ...withdrawn]
      }),
    )
    return approvals()
      .filter(one => !known.has(keyOf(one)))
      .map(({ did, part, by, hash }) => {
        const content = did === 'approved' ? { after: hash } : { before: hash }
        return { at: now(), who: 'machine', did, on: `${part} by ${by}`, ...content }
      })
  }

  return {
    accounts: all,
    store,
    pages({ signingKey, hospital, ...ports }) {
      const ours = challenges(createHmac('sha256', signingKey).update('challenges').digest(), bytes)
      return accountPages({
        ...ports,
        accounts: all,
        people,
        now,
        dayText: at => dayText(clinic(), ports.language ?? 'en', at),
        passkeys: passkeys({
          challenges: ours,
          now,
          clinicName: () => clinic().name,
        }),
        ...(hospital === undefined ? {} : { singleSignOn: singleSignOnAt(hospital, ours, now) }),
      })
    },
    async clinicRead(who = 'machine') {
      await store.noteRoles(rolesIn(clinic()), now())
      const after = content()
      const before = (await store.lastAudited('clinic-file-changed'))?.after
      if (before === after) return
      const from = before === undefined ? {} : { before }
      const acts = [
        ...(await found()),
        { at: now(), who, did: 'clinic-file-changed', on: 'clinic', ...from, after } as const,
      ]
      await store.change(acts, [])
    },
    close: () => store.close(),
  }
}

/** Plain http is let through where the clinic's file was: in a demonstration, to this machine. */
function singleSignOnAt(
  { secretFile, ...hospital }: HospitalSignIn,
  ours: Challenges,
  now: () => Instant,
): SingleSignOn {
  return singleSignOn({
    ...hospital,
    challenges: ours,
    now,
    isPlainHttpAllowed: hospital.issuer.startsWith('http:'),
    ...(secretFile === undefined ? {} : { secret: () => readFileSync(secretFile, 'utf8').trim() }),
  })
}

/** Roles by person; of somebody who has left, none. */
function rolesIn({ people }: Clinic) {
  return new Map(people.map(({ id, roles = [], left }) => [id, left === true ? [] : roles]))
}

/** Words that stand in the clinic's file for everybody to read. */
const placeWords = ({ name, people, hospitals, desks }: Clinic): readonly string[] => [
  'smallhours',
  name,
  ...[...people, ...hospitals, ...desks].flatMap(one => [one.id, one.name]),
  ...people.map(({ job }) => job),
]

/** Day and clock time as the clinic's staff read them. */
function dayText({ zone, clock }: Clinic, language: string, at: Instant): string {
  return new Intl.DateTimeFormat(language, {
    timeZone: zone,
    weekday: 'short',
    day: 'numeric',
    month: 'short',
    hour: 'numeric',
    minute: '2-digit',
    hour12: clock === '12h',
  }).format(at)
}
