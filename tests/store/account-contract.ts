import { beforeEach, describe, expect, it } from 'vitest'
import type { AccountChange, AccountStore, Attempts, Passkey } from '../../src/accounts/account-store.ts'
import { auditFaults, type Deed } from '../../src/accounts/audit.ts'
import { instant } from '../../src/time/instant.ts'

const at = (ms: number) => instant(1_000_000 + ms)
const act = (did: Deed, ms = 0) => ({ at: at(ms), who: 'malia', did, on: 'amara' }) as const
const passkey = (credentialId: string, counter = 0): Passkey => ({
  credentialId,
  publicKey: Uint8Array.from([1, 2, 3]),
  counter,
  label: 'my phone',
  transports: ['internal', 'hybrid'],
  addedAt: at(0),
})
const session = (id: string, personId = 'amara', ms = 0) =>
  ({
    kind: 'begin-session',
    tokenHash: `hash-${id}`,
    session: { id, personId, how: 'password', browser: 'x', startedAt: at(ms), seenAt: at(ms), endsAt: at(ms + 100) },
  }) as const
const invitation = (hash: string, until = 100): AccountChange => ({
  kind: 'add-invitation',
  tokenHash: hash,
  invitation: { personId: 'amara', by: 'malia', at: at(0), until: at(until) },
})

/**
 * What every store of accounts does.
 * @param again  closes it and opens the same one
 */
export function accountStoreContract(
  open: () => Promise<{ store: AccountStore; again: () => Promise<AccountStore> }>,
): void {
  let store: AccountStore
  let again: () => Promise<AccountStore>
  beforeEach(async () => ({ store, again } = await open()))
  const numbers = async () => (await store.audit()).map(({ line, did }) => `${line} ${did}`)

  describe('ways of signing in', () => {
    it('are kept over a restart, each whole', async () => {
      await store.change(act('password-set'), [{ kind: 'set-password', personId: 'amara', password: 'phc', at: at(0) }])
      await store.change(act('passkey-added'), [{ kind: 'add-passkey', personId: 'amara', passkey: passkey('k1') }])
      await store.change(act('identity-linked'), [
        { kind: 'add-identity', personId: 'amara', issuer: 'https://id.example', subject: 's' },
      ])
      store = await again()
      expect(await store.account('amara')).toEqual({
        personId: 'amara',
        password: 'phc',
        passkeys: [passkey('k1')],
        identities: [{ issuer: 'https://id.example', subject: 's' }],
      })
      expect(await store.passkey('k1')).toEqual({ ...passkey('k1'), personId: 'amara' })
      expect(await store.personOfIdentity('https://id.example', 's')).toBe('amara')
      expect(await store.personOfIdentity('https://other.example', 's')).toBeUndefined()
      expect((await store.accounts()).map(({ personId }) => personId)).toEqual(['amara'])
      expect(await store.account('linh')).toEqual({ personId: 'linh', passkeys: [], identities: [] })
    })

    it('a passkey or identity that is somebody else’s is refused', async () => {
      await store.change(act('passkey-added'), [{ kind: 'add-passkey', personId: 'amara', passkey: passkey('k1') }])
      const other: AccountChange = { kind: 'add-passkey', personId: 'linh', passkey: passkey('k1') }
      expect(await store.change(act('passkey-added'), [other])).toBe('refused')
      expect((await store.passkey('k1'))?.personId).toBe('amara')
    })

    it('a passkey whose counter does not grow is refused; one that never counts is not', async () => {
      await store.change(act('passkey-added'), [
        { kind: 'add-passkey', personId: 'amara', passkey: passkey('counts', 5) },
        { kind: 'add-passkey', personId: 'amara', passkey: passkey('plain', 0) },
      ])
      const use = (credentialId: string, counter: number) =>
        store.change(act('signed-in'), [{ kind: 'use-passkey', credentialId, counter, at: at(9) }])
      expect(await use('counts', 5)).toBe('refused')
      expect(await use('counts', 4)).toBe('refused')
      expect(await use('counts', 0)).toBe('refused')
      expect(await use('counts', 6)).toBe('done')
      expect(await use('plain', 0)).toBe('done')
      expect(await use('plain', 0)).toBe('done')
      expect(await use('unknown', 1)).toBe('refused')
      expect((await store.passkey('counts'))?.usedAt).toBe(at(9))
    })
  })

  describe('invitations', () => {
    it('are used once, in time, and not after they were withdrawn', async () => {
      const use = (tokenHash: string, ms: number) =>
        store.change(act('invitation-used'), [{ kind: 'use-invitation', tokenHash, at: at(ms) }])
      await store.change(act('invited'), [invitation('one'), invitation('late', 50), invitation('back')])
      expect(await store.invitation('one', at(99))).toMatchObject({ personId: 'amara', by: 'malia' })
      expect(await use('late', 50)).toBe('refused')
      expect(await use('one', 10)).toBe('done')
      expect(await use('one', 11)).toBe('refused')
      expect(await store.invitation('one', at(12))).toBeUndefined()
      await store.change(act('invitation-withdrawn'), [{ kind: 'withdraw-invitations', personId: 'amara', at: at(12) }])
      expect(await use('back', 13)).toBe('refused')
      expect(await store.invitations(at(13))).toEqual([])
    })

    it('two that use one at the same time: one is refused', async () => {
      await store.change(act('invited'), [invitation('one')])
      const use = { kind: 'use-invitation', tokenHash: 'one', at: at(1) } as const
      const both = await Promise.all([1, 2].map(() => store.change(act('invitation-used'), [use])))
      expect(both.toSorted()).toEqual(['done', 'refused'])
    })
  })

  describe('sessions', () => {
    it('begin, are seen, and end: one, all but one, those past their end or unused', async () => {
      await store.change(act('signed-in'), [session('a'), session('b', 'amara', 20), session('c', 'linh')])
      store = await again()
      await store.touch('a', at(30))
      await store.touch('a', at(10))
      expect((await store.session('hash-a'))?.seenAt).toBe(at(30))
      expect((await store.sessions('amara')).map(({ id }) => id)).toEqual(['a', 'b'])
      await store.forgetSessions(at(40), at(25))
      expect((await store.sessions()).map(({ id }) => id)).toEqual(['a'])
      await store.forgetSessions(at(100), at(0))
      expect(await store.sessions()).toEqual([])
      await store.change(act('signed-in'), [session('d'), session('e'), session('f')])
      await store.change(act('session-ended'), [{ kind: 'end-sessions', personId: 'amara', except: 'e' }])
      expect((await store.sessions()).map(({ id }) => id)).toEqual(['e'])
      const end = (personId: string) =>
        store.change(act('session-ended'), [{ kind: 'end-session', personId, sessionId: 'e' }])
      expect(await end('linh')).toBe('refused')
      expect(await end('amara')).toBe('done')
      expect(await end('amara')).toBe('refused')
    })
  })

  describe('failed tries', () => {
    it('are counted by key, forgotten when told, and by age', async () => {
      await store.noteFailure('x', at(1))
      await store.noteFailure('x', at(2))
      await store.noteFailure('y', at(1))
      store = await again()
      expect(await store.attempts('x')).toEqual({ failures: 2, lastAt: at(2) })
      await store.forgetFailuresBefore(at(1))
      expect(await store.attempts('y')).toBeUndefined()
      await store.forgetFailures('x')
      expect(await store.attempts('x')).toBeUndefined()
    })
  })

  describe('tries', () => {
    it('are counted unless they are held back, and of many at once no more than may be made', async () => {
      const held = (attempts: Attempts | undefined) => ((attempts?.failures ?? 0) < 3 ? undefined : at(50))
      const all = await Promise.all(Array.from({ length: 8 }, () => store.noteTry('x', at(1), held)))
      expect(all.filter(until => until === undefined)).toHaveLength(3)
      expect(all.filter(until => until === at(50))).toHaveLength(5)
      expect(await store.attempts('x')).toEqual({ failures: 3, lastAt: at(1) })
    })
  })

  describe('the audit trail', () => {
    it('grows by a line a change, none where a change is refused, and goes on after a restart', async () => {
      await store.change(act('invited'), [invitation('one')])
      expect(
        await store.change(
          [act('invitation-used'), act('password-set')],
          [
            { kind: 'set-password', personId: 'amara', password: 'phc', at: at(0) },
            { kind: 'use-invitation', tokenHash: 'other', at: at(1) },
          ],
        ),
      ).toBe('refused')
      expect((await store.account('amara')).password).toBeUndefined()
      store = await again()
      await store.change([act('signed-in', 5), act('signed-out', 6)], [])
      expect(await numbers()).toEqual(['1 invited', '2 signed-in', '3 signed-out'])
      expect((await store.audit(3)).map(({ line }) => line)).toEqual([3])
      expect(await store.auditHead()).toMatchObject({ line: 3 })
      expect(auditFaults(await store.audit(), await store.auditHead())).toEqual([])
      expect((await store.lastAudited('signed-in'))?.line).toBe(2)
      expect(await store.lastAudited('approved')).toBeUndefined()
    })

    it('tells when each person last signed in', async () => {
      await store.change({ at: at(3), who: 'amara', did: 'signed-in', on: 's' }, [])
      await store.change({ at: at(9), who: 'amara', did: 'signed-in', on: 's' }, [])
      await store.change({ at: at(5), who: 'linh', did: 'sign-in-failed', on: 's' }, [])
      expect(await store.lastSignIns()).toEqual(new Map([['amara', at(9)]]))
    })

    it('has a line for each person whose roles are others than before, with both', async () => {
      const roles = { amara: ['on-call', 'lead'], malia: ['administrator'] } as const
      await store.noteRoles(new Map(Object.entries(roles)), at(0))
      await store.noteRoles(new Map(Object.entries({ ...roles, amara: ['lead', 'on-call'] as const })), at(1))
      await store.noteRoles(new Map([['amara', ['lead']]]), at(2))
      const lines = (await store.audit()).map(
        ({ on, before, after, at: when }) => `${when - at(0)} ${on}: ${before} > ${after}`,
      )
      expect(lines).toEqual([
        '0 amara:  > lead on-call',
        '0 malia:  > administrator',
        '2 amara: lead on-call > lead',
        '2 malia: administrator > ',
      ])
    })
  })
}
