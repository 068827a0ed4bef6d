import { argon2Sync, randomBytes } from 'node:crypto'
import { describe, expect, it } from 'vitest'
import { HashingBusy, passwordHashing } from '../../src/accounts/password-hash.ts'
import { passwordFault } from '../../src/accounts/password-rules.ts'
import { bytes } from '../support/a-clinic-team.ts'

const OWN = ['Harbour Lights feeding clinic', 'Amara Osei', "Harbour Point Children's Hospital", 'amara', 'smallhours']

describe('what may be a password', () => {
  // NIST SP 800-63B-4, 3.1.1.2: length, a list of common ones and words of the place; no kinds of signs asked for.
  it.each([
    ['eleven char', 'short'],
    ['', 'short'],
    ['💧💧💧💧', 'short'],
    ['password1234', 'common'],
    ['Password!!2026', 'common'],
    ['p@ssw0rd!!!!', 'common'],
    ['123456789012', 'common'],
    ['abcdefghijklmnop', 'common'],
    ['1q2w3e4r5t6y', 'common'],
    ['qwerty123456', 'common'],
    ['2026-03-01 02:00', 'common'],
    ['aaaaaaaaaaaa', 'repeated'],
    ['abcabcabcabcabc', 'repeated'],
    ['ababababababa', 'repeated'],
    ['harbourlights1', 'clinic-words'],
    ['AmaraOsei2026!', 'clinic-words'],
    ['smallhours 2026', 'clinic-words'],
    ['Harbour Point Hospital', 'clinic-words'],
    ['x'.repeat(100) + 'y'.repeat(101), 'long'],
  ] as const)('"%s" is refused: %s', (password, fault) => expect(passwordFault(password, OWN)).toBe(fault))

  it.each([
    'window ladder otter tin',
    'correct horse battery staple',
    'vier Äpfel im Regen',
    'ñandú bajo la mesa',
    'Zq7#vLm2!pRt',
    'amara likes purple kites',
    '家の窓から見える三本の古い木',
  ])('"%s" is taken: no rule about kinds of signs', password => expect(passwordFault(password, OWN)).toBeUndefined())
})

describe('hashing', () => {
  const hashing = passwordHashing(bytes)

  it('keeps argon2id with the figures of the OWASP Password Storage Cheat Sheet, and knows the password again', async () => {
    const phc = await hashing.hash('window ladder otter tin')
    // "Argon2id with a minimum configuration of 19 MiB of memory, an iteration count of 2, and 1 degree of parallelism."
    expect(phc).toMatch(/^\$argon2id\$v=19\$m=19456,t=2,p=1\$[A-Za-z0-9+/]{22}\$[A-Za-z0-9+/]{43}$/)
    expect(await hashing.verify(phc, 'window ladder otter tin')).toBe('right')
    expect(await hashing.verify(phc, 'window ladder otter tim')).toBe('wrong')
    expect(await hashing.hash('window ladder otter tin')).not.toBe(phc)
  })

  it('knows a hash of the reference program of argon2 (its test.c: version 19, 64 MiB, 2 passes; from memory)', async () => {
    const phc = '$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc'
    expect(await hashing.verify(phc, 'password')).toBe('old')
    expect(await hashing.verify(phc, 'Password')).toBe('wrong')
  })

  it('the platform makes the tag of RFC 9106, section 5.3 (from memory)', () => {
    const tag = argon2Sync('argon2id', {
      message: Buffer.alloc(32, 1),
      nonce: Buffer.alloc(16, 2),
      secret: Buffer.alloc(8, 3),
      associatedData: Buffer.alloc(12, 4),
      memory: 32,
      passes: 3,
      parallelism: 4,
      tagLength: 32,
    })
    expect(tag.toString('hex')).toBe('0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659')
  })

  it('asks for a new hash when it was made with other figures', async () => {
    const salt = randomBytes(16)
    const tag = argon2Sync('argon2id', {
      message: Buffer.from('window ladder otter tin'),
      nonce: salt,
      memory: 8_192,
      passes: 1,
      parallelism: 1,
      tagLength: 32,
    })
    const bare = (b: Uint8Array) => Buffer.from(b).toString('base64').replace(/=+$/, '')
    const phc = `$argon2id$v=19$m=8192,t=1,p=1$${bare(salt)}$${bare(tag)}`
    expect(await hashing.verify(phc, 'window ladder otter tin')).toBe('old')
  })

  it('knows one way of writing an accent for another', async () => {
    const phc = await hashing.hash('ñandú bajo la mesa')
    expect(await hashing.verify(phc, 'ñandú bajo la mesa'.normalize('NFD'))).toBe('right')
  })

  it.each(['$argon2i$v=19$m=19456,t=2,p=1$c29tZXNhbHQ$c29tZXNhbHRzb21lc2FsdHNvbWVzYWx0', 'x', '$2b$10$abc'])(
    'refuses a stored string of another kind: %s',
    async phc => {
      await expect(hashing.verify(phc, 'x')).rejects.toThrow('set the password anew')
    },
  )

  it('does as much work without an account as with one, and finds nothing', async () => {
    const work: string[] = []
    const counted = passwordHashing(count => {
      work.push(String(count))
      return bytes(count)
    })
    expect(await counted.verify(undefined, 'x')).toBe('wrong')
    // A salt was drawn and hashed with: the time of a hash was spent.
    expect(work).toEqual(['16'])
  })

  it('lets only so many wait', async () => {
    const many = passwordHashing(bytes)
    const tries = await Promise.allSettled(Array.from({ length: 24 }, () => many.verify(undefined, 'x')))
    const busy = tries.filter(one => one.status === 'rejected')
    expect(busy).toHaveLength(4)
    expect(busy.every(one => one.status === 'rejected' && one.reason instanceof HashingBusy)).toBe(true)
    expect(await many.verify(undefined, 'x')).toBe('wrong')
  })
})
