/** Guards over the machine the bot runs on: its keys, its data folder, files of secrets, the address it listens at. */
import {
  accessSync,
  closeSync,
  constants,
  existsSync,
  fsyncSync,
  openSync,
  readFileSync,
  realpathSync,
  rmSync,
  statfsSync,
  statSync,
  writeSync,
} from 'node:fs'
import { join, resolve } from 'node:path'
import { isLoopback } from '../config/fiction.ts'
import type { GuardId, Refusal } from '../config/guard.ts'
import type { PagerRoutes } from '../config/pager-section.ts'
import type { HospitalSignIn } from '../config/sign-in-section.ts'
import type { StoreRoute } from '../config/store-section.ts'
import type { TelegramRoute } from '../config/telegram-section.ts'
import { readClinicKeys } from '../store/clinic-keys.ts'
import { dataFiles, signingKeyFault } from './data-folder.ts'

type Told = Pick<Refusal, 'code' | 'found' | 'expected' | 'todo'> & Partial<Pick<Refusal, 'severity'>>

const refuse = (guard: GuardId, where: string, told: Told): Refusal => ({ guard, where, severity: 'refused', ...told })

/** Shortest secret of the hospital's sign-in, in characters. */
const SIGN_IN_SECRET_LEAST = 16

/** Bits of a file's mode that let anybody but its owner in. */
const OTHERS = 0o077
const modeOf = (path: string): number => statSync(path).mode & 0o777
const modeText = (path: string): string => modeOf(path).toString(8).padStart(3, '0')

/** The clinic's keys and the key that signs links. */
export function keyGuards(dataDir: string): readonly Refusal[] {
  const { clinicKeysFile, signingKeyFile, caseKeysFile } = dataFiles(dataDir)
  const isNew = !existsSync(caseKeysFile)
  return [
    ...keyFile(clinicKeysFile, {
      code: 'CLINIC_KEYS',
      what: "the clinic's keys",
      missing: isNew
        ? `run "npx smallhours records rotate --data ${dataDir}", then save a copy of the file apart from every backup`
        : 'put back the saved copy; a new key reads none of the cases that are there',
      opened: `run "chmod 600 ${clinicKeysFile}", then "npx smallhours records rotate --data ${dataDir}", since somebody may have copied this key`,
      fault: () => faultOf(() => readClinicKeys(clinicKeysFile, 'refused')),
    }),
    ...keyFile(signingKeyFile, {
      code: 'SIGNING_KEY',
      what: 'the key that signs links to cases',
      missing: isNew
        ? `run "npx smallhours records rotate --data ${dataDir}", which makes it`
        : `put back the saved copy, or make a new one: ${newKeyCommand(signingKeyFile)} (links already sent stop working)`,
      opened: `run "chmod 600 ${signingKeyFile}"; if others could read it, make a new one: ${newKeyCommand(signingKeyFile)} (links already sent stop working)`,
      fault: () => signingKeyFault(signingKeyFile),
    }),
  ]
}

const newKeyCommand = (file: string): string =>
  `(umask 077; head -c 32 /dev/urandom | od -An -v -tx1 | tr -d ' \\n' > ${file})`

interface KeyFile {
  readonly code: string
  readonly what: string
  readonly missing: string
  readonly opened: string
  readonly fault: () => string | undefined
}

function keyFile(file: string, { code, what, missing, opened, fault }: KeyFile): readonly Refusal[] {
  const told = (kind: string, found: string, expected: string, todo: string) => [
    refuse('keys', file, { code: `${code}_${kind}`, found, expected, todo }),
  ]
  if (!existsSync(file)) return told('MISSING', `no file with ${what}`, `the file, made once and saved apart`, missing)
  if ((modeOf(file) & OTHERS) !== 0)
    return told('OPEN', `mode ${modeText(file)}: others on this machine may read ${what}`, 'mode 600', opened)
  const found = fault()
  if (found === undefined) return []
  return told('BROKEN', found, `${what}, whole`, 'put back the saved copy')
}

function faultOf(check: () => unknown): string | undefined {
  try {
    check()
    return undefined
  } catch (error) {
    return error instanceof Error ? error.message : 'it cannot be read'
  }
}

/** Fewest characters of a mail password that is not a slip, and bytes of a signing secret (Standard Webhooks asks for 24). */
const PASSWORD_LEAST = 8
const WEBHOOK_SECRET_LEAST = 24
/** Fewest characters of a password of the store. */
const STORE_PASSWORD_LEAST = 20
/** SMPP 3.4 section 4.1.1: the password is at most 9 octets with its closing zero. */
const SMS_PASSWORD_MOST = 8

/** Digits of the bot, a colon, and 35 characters at present; that number is published nowhere. */
const TELEGRAM_TOKEN = /^\d{3,20}:[A-Za-z0-9_-]{20,}$/

/** Files of secrets that the clinic's file names. */
export function secretGuards(
  routes: PagerRoutes,
  signIn?: HospitalSignIn,
  store?: StoreRoute,
  telegram?: TelegramRoute,
): readonly Refusal[] {
  const { smtp, webhook, sms } = routes
  const password = smtp?.passwordFile
  return [
    ...(password === undefined
      ? []
      : secretFile(password, text => text.length >= PASSWORD_LEAST, `at least ${PASSWORD_LEAST} characters`)),
    ...(webhook === undefined
      ? []
      : secretFile(
          webhook.secretFile,
          text => Buffer.from(text.replace(/^whsec_/, ''), 'base64').length >= WEBHOOK_SECRET_LEAST,
          `at least ${WEBHOOK_SECRET_LEAST} bytes in base64`,
        )),
    ...(sms === undefined
      ? []
      : secretFile(
          sms.passwordFile,
          text => text.length >= 1 && text.length <= SMS_PASSWORD_MOST,
          `1 to ${SMS_PASSWORD_MOST} characters, as the telephone company gave it`,
        )),
    ...(telegram === undefined
      ? []
      : secretFile(
          telegram.tokenFile,
          text => TELEGRAM_TOKEN.test(text),
          'a token like 123456789:AAE…, as Telegram gave it',
        )),
    ...(signIn?.secretFile === undefined
      ? []
      : secretFile(
          signIn.secretFile,
          text => text.length >= SIGN_IN_SECRET_LEAST,
          `at least ${SIGN_IN_SECRET_LEAST} characters, as the hospital gave it`,
        )),
    ...(store?.passwordFile === undefined
      ? []
      : secretFile(
          store.passwordFile,
          text => text.length >= STORE_PASSWORD_LEAST,
          `at least ${STORE_PASSWORD_LEAST} characters: a Redis answers thousands of guesses a second`,
        )),
  ]
}

function secretFile(file: string, isLong: (text: string) => boolean, expected: string): readonly Refusal[] {
  if (!existsSync(file)) {
    const todo = `write the secret into it, then run "chmod 600 ${file}"`
    return [
      refuse('secrets', file, {
        code: 'SECRET_MISSING',
        found: 'no such file',
        expected: 'the file that the clinic file names',
        todo,
      }),
    ]
  }
  if ((modeOf(file) & OTHERS) !== 0) {
    const todo = `run "chmod 600 ${file}", and change the secret, since others could read it`
    return [
      refuse('secrets', file, {
        code: 'SECRET_OPEN',
        found: `mode ${modeText(file)}: others may read it`,
        expected: 'mode 600',
        todo,
      }),
    ]
  }
  const text = readWhole(file)
  if (text !== undefined && isLong(text)) return []
  const found = text === undefined ? 'it cannot be read' : 'a secret that is too short'
  return [refuse('secrets', file, { code: 'SECRET_SHORT', found, expected, todo: 'write the whole secret into it' })]
}

/** Type numbers of network file systems in `statfs` (Linux, statfs(2): NFS, SMB, CIFS, SMB2, FUSE). */
const NETWORK_DISKS = new Set([0x6969, 0x517b, 0xff534d42, 0xfe534d42, 0x65735546])
/** Folders that a program copies elsewhere while the bot writes. */
const SYNCED =
  /(^|[\\/ ])(dropbox|onedrive|google ?drive|icloud( ?drive)?|mobile documents|nextcloud|owncloud|syncthing|sync|pcloud)([\\/ ]|$)/i
/** Least room on the disk, in bytes: a week of a busy line, measured roughly. */
const ROOM_LEAST = 200_000_000

/** The folder that holds conversations. */
export function dataGuards(dataDir: string): readonly Refusal[] {
  const told = (given: Told) => refuse('data', dataDir, given)
  if (!existsSync(dataDir)) {
    const todo = `run "mkdir -m 700 -p ${dataDir}", then "npx smallhours records rotate --data ${dataDir}"`
    return [
      told({
        code: 'DATA_MISSING',
        found: 'no such folder',
        expected: 'a folder of its own on a disk of this machine',
        todo,
      }),
    ]
  }
  const found: Refusal[] = []
  if ((modeOf(dataDir) & OTHERS) !== 0) {
    const todo = `run "chmod 700 ${dataDir}"`
    found.push(
      told({
        code: 'DATA_OPEN',
        found: `mode ${modeText(dataDir)}: others on this machine may look into it`,
        expected: 'mode 700',
        todo,
      }),
    )
  }
  const disk = statfsSync(dataDir)
  const real = realpathSync(resolve(dataDir))
  if (NETWORK_DISKS.has(Number(disk.type)) || SYNCED.test(real)) {
    const todo = 'give --data a folder on a disk of this machine that nothing copies while the bot runs'
    found.push(
      told({
        code: 'DATA_SYNCED',
        found: 'a folder that lies on a network disk, or that a program copies elsewhere',
        expected: 'a local disk: a copied database is torn, and leaves the clinic',
        todo,
      }),
    )
  }
  const fault = writingFault(dataDir)
  if (fault !== undefined) {
    const todo = `let the user the bot runs as write there (chown), or free the disk`
    found.push(
      told({
        code: 'DATA_UNWRITABLE',
        found: `it cannot be written (${fault})`,
        expected: 'a folder this user may write to',
        todo,
      }),
    )
  } else if (disk.bavail * disk.bsize < ROOM_LEAST) {
    const todo = 'free some room, or move the folder'
    found.push(
      told({
        code: 'DATA_FULL',
        found: `${Math.round((disk.bavail * disk.bsize) / 1e6)} MB free`,
        expected: `${ROOM_LEAST / 1e6} MB`,
        todo,
        severity: 'warning',
      }),
    )
  }
  return found
}

/** Writes a file, makes it durable, removes it. The code of the error, or undefined. */
function writingFault(folder: string): string | undefined {
  const file = join(folder, '.write-test')
  try {
    accessSync(folder, constants.W_OK | constants.X_OK)
    const opened = openSync(file, 'w', 0o600)
    try {
      writeSync(opened, 'a file that is removed at once\n')
      fsyncSync(opened)
    } finally {
      closeSync(opened)
    }
    rmSync(file)
    return undefined
  } catch (error) {
    return error instanceof Error && 'code' in error ? String(error.code) : 'unknown'
  }
}

/** The address it listens at, and who it runs as. */
export function hostGuards(options: {
  host: string
  webAddress: string | undefined
  uid: number | undefined
}): readonly Refusal[] {
  const { host, webAddress, uid } = options
  const found: Refusal[] = []
  const isOpen = !isLoopback(host) || /^(0\.0\.0\.0|\[?::\]?)$/.test(host)
  if (isOpen) {
    const isSecure = webAddress?.startsWith('https://') === true
    found.push(
      refuse('web', `--host ${host}`, {
        code: 'PLAIN_HTTP',
        found: 'plain HTTP on an address that other machines reach',
        expected: 'https for everybody: what families write can be read and changed on the way',
        todo: isSecure
          ? 'see that only the web server that does HTTPS can reach this port, by a firewall; where it runs on this machine, leave --host out'
          : 'put a web server with HTTPS before it, write its address under web-address, and leave --host out',
        severity: isSecure ? 'warning' : 'refused',
      }),
    )
  }
  if (uid === 0) {
    found.push(
      refuse('user', 'this process', {
        code: 'RUNS_AS_ROOT',
        found: 'it runs as the administrator of the machine (root)',
        expected: 'a user of its own, who may touch the data folder and nothing else',
        todo: 'make such a user, give it the data folder, and start the bot as that user',
        severity: 'warning',
      }),
    )
  }
  return found
}

function readWhole(file: string): string | undefined {
  try {
    return readFileSync(file, 'utf8').trim()
  } catch {
    return undefined
  }
}
