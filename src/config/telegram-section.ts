import { z } from 'zod'
import type { Clinic } from '../oncall/clinic.ts'
import { oneOf, yesOrNo } from './clinic-shapes.ts'
import { isLoopback, isReservedName } from './fiction.ts'
import type { PartReader } from './part-reader.ts'

/** How the clinic's bot on Telegram is reached; its token stands in a file of its own. */
export interface TelegramRoute {
  readonly tokenFile: string
  /** Whether messages are asked for, or delivered to the clinic's web address. */
  readonly updates: 'polling' | 'webhook'
  /** Families may write to it; else it serves the clinic's people only. */
  readonly takesFamilies: boolean
  /** Address of the server, without a slash at its end. */
  readonly server: string
}

/** Where Telegram's own server is. */
export const TELEGRAM_SERVER = 'https://api.telegram.org'

const serverExpected = 'the address of a server, like https://api.telegram.org, without a slash at its end'
const fileExpected = 'the file that holds the token'

const shape = z.strictObject(
  {
    'token-file': z.string({ error: fileExpected }).trim().min(1, { error: fileExpected }),
    updates: oneOf(['polling', 'webhook']),
    'families-may-write': yesOrNo('whether families may write to the bot'),
    server: z
      .url({ protocol: /^https?$/, error: serverExpected })
      .regex(/[^/]$/, { error: serverExpected })
      .optional(),
  },
  { error: 'telegram: token-file, updates, families-may-write' },
)

/** The section `telegram`; undefined where the clinic has none, or it cannot be used. */
export function telegramIn(reader: PartReader, clinic: Clinic): TelegramRoute | undefined {
  const isThere = reader.valueAt(['telegram']) !== undefined
  const read = isThere ? reader.part(['telegram'], shape) : undefined
  const isUsed = [...clinic.people, ...clinic.desks].some(one => one.pageAt.some(({ pager }) => pager === 'telegram'))
  if (isUsed && !isThere && !clinic.demonstration)
    reader.report(
      ['telegram'],
      'PAGER_WITHOUT_ROUTE',
      'no telegram section',
      'how telegram sends: it stands in a page-at',
    )
  if (read === undefined) return undefined
  const { server = TELEGRAM_SERVER, updates } = read
  reportServer(reader, server, clinic.demonstration)
  return { tokenFile: read['token-file'], updates, takesFamilies: read['families-may-write'], server }
}

/** A demonstration talks to a server of this machine only; a clinic's is reached in the open by https alone. */
function reportServer(reader: PartReader, server: string, isDemonstration: boolean): void {
  const { hostname, protocol } = new URL(server)
  const path = ['telegram', 'server']
  if (isLoopback(hostname)) return
  if (isDemonstration) {
    const expected = 'a server on this machine: a demonstration must reach nobody'
    reader.report(path, 'ADDRESS_REAL', `"${server}"`, expected)
  } else if (protocol !== 'https:') reader.report(path, 'WRONG_VALUE', `"${server}"`, serverExpected)
  else if (isReservedName(hostname))
    reader.report(path, 'ADDRESS_FICTION', `"${server}"`, 'a server that is there: this name is kept for examples')
}
