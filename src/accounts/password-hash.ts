import { argon2, timingSafeEqual } from 'node:crypto'

/**
 * Argon2id with the least that the OWASP Password Storage Cheat Sheet names (19 MiB of memory, 2 passes, 1 lane), off the
 * main loop. Kept as a PHC string, so that stronger figures can be taken later: an older one is made anew at the next sign-in.
 */
const FIGURES = { memory: 19_456, passes: 2, parallelism: 1 } as const
const SALT_BYTES = 16
const HASH_BYTES = 32
/**
 * Hashing takes a thread of the few that files and names are read with too: one at a time, so that a flood of sign-ins cannot
 * hold up what a family waits for; and not more than this many waiting.
 */
const WAITING_MOST = 20

/** Too many passwords wait to be looked at. */
export class HashingBusy extends Error {
  override readonly name = 'HashingBusy'
}

export interface PasswordHashing {
  /** The PHC string of a password. */
  hash(password: string): Promise<string>
  /**
   * Whether the password is the one of the string. Without a string it takes as long, and is `wrong`: nobody learns from the
   * time whether an account exists. `old`: right, and to be hashed anew with the figures of today.
   */
  verify(phc: string | undefined, password: string): Promise<'right' | 'old' | 'wrong'>
}

/** @param bytes random bytes, of the platform's cryptography */
export function passwordHashing(bytes: (count: number) => Uint8Array): PasswordHashing {
  let last: Promise<unknown> = Promise.resolve()
  let waiting = 0

  async function derived(password: string, salt: Uint8Array, figures: Figures, length: number): Promise<Buffer> {
    if (waiting >= WAITING_MOST) throw new HashingBusy(`more than ${WAITING_MOST} passwords wait to be looked at`)
    waiting += 1
    const made = last.then(() => argon2id(password, salt, figures, length))
    last = made.catch(() => undefined)
    try {
      return await made
    } finally {
      waiting -= 1
    }
  }

  return {
    async hash(password) {
      const salt = bytes(SALT_BYTES)
      return phcOf(FIGURES, salt, await derived(password, salt, FIGURES, HASH_BYTES))
    },
    async verify(phc, password) {
      const kept = phc === undefined ? undefined : readPhc(phc)
      const { figures, salt, hash } = kept ?? {
        figures: FIGURES,
        salt: bytes(SALT_BYTES),
        hash: Buffer.alloc(HASH_BYTES),
      }
      const found = await derived(password, salt, figures, hash.length)
      if (!timingSafeEqual(found, hash) || kept === undefined) return 'wrong'
      const isToday = figures.memory === FIGURES.memory && figures.passes === FIGURES.passes
      return isToday && figures.parallelism === FIGURES.parallelism ? 'right' : 'old'
    },
  }
}

interface Figures {
  /** KiB. */
  readonly memory: number
  readonly passes: number
  readonly parallelism: number
}

function argon2id(password: string, salt: Uint8Array, figures: Figures, tagLength: number): Promise<Buffer> {
  // One way of writing a letter with its accent: another keyboard may write another.
  const message = Buffer.from(password.normalize('NFC'))
  return new Promise((resolve, reject) => {
    argon2('argon2id', { message, nonce: salt, tagLength, ...figures }, (error, hash) =>
      error === null ? resolve(hash) : reject(error),
    )
  })
}

const bare = (bytes: Uint8Array): string => Buffer.from(bytes).toString('base64').replace(/=+$/, '')

const phcOf = ({ memory, passes, parallelism }: Figures, salt: Uint8Array, hash: Uint8Array): string =>
  `$argon2id$v=19$m=${memory},t=${passes},p=${parallelism}$${bare(salt)}$${bare(hash)}`

/** Throws on anything but a string of this form with figures within reason: the store was then written by somebody else. */
function readPhc(phc: string): { readonly figures: Figures; readonly salt: Buffer; readonly hash: Buffer } {
  const read =
    /^\$argon2id\$v=19\$m=(\d{1,7}),t=(\d{1,2}),p=(\d{1,2})\$([A-Za-z0-9+/]{11,86})\$([A-Za-z0-9+/]{22,86})$/.exec(phc)
  if (read === null) throw new Error('a stored password is no PHC string of argon2id: set the password anew')
  const [, memory, passes, parallelism, salt = '', hash = ''] = read
  return {
    figures: { memory: Number(memory), passes: Number(passes), parallelism: Number(parallelism) },
    salt: Buffer.from(salt, 'base64'),
    hash: Buffer.from(hash, 'base64'),
  }
}
