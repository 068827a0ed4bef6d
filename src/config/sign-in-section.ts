import { z } from 'zod'
import { isLoopback, isReservedName } from './fiction.ts'
import type { PartReader } from './part-reader.ts'

/** The hospital's own sign-in (OpenID Connect); left out where the clinic has none. */
export interface HospitalSignIn {
  /** What people know it by: "Harbour Point". */
  readonly name: string
  /** Its address, as it names itself. */
  readonly issuer: string
  readonly clientId: string
  /** File of the secret the hospital gave; left out for a client without one. */
  readonly secretFile?: string
}

const text = (what: string) => z.string({ error: what }).trim().min(1, { error: what })
const addressExpected = 'the address of the hospital’s sign-in, which starts with https://'

const signInShape = z.strictObject(
  {
    hospital: z
      .strictObject(
        {
          name: text('what people call the hospital’s sign-in'),
          issuer: z.url({ protocol: /^https?$/, error: addressExpected }),
          'client-id': text('the id the hospital gave this clinic'),
          'secret-file': text('the file that holds the secret the hospital gave').optional(),
        },
        { error: 'hospital: name, issuer, client-id, secret-file' },
      )
      .optional(),
  },
  { error: 'sign-in: hospital' },
)

/** The section `sign-in`. Plain http is for a demonstration on this machine only. */
export function signInIn(reader: PartReader, isDemonstration: boolean): HospitalSignIn | undefined {
  const read = reader.valueAt(['sign-in']) === undefined ? undefined : reader.part(['sign-in'], signInShape)
  if (read?.hospital === undefined) return undefined
  const { name, issuer, 'client-id': clientId, 'secret-file': secretFile } = read.hospital
  const { protocol, hostname } = new URL(issuer)
  const isHere = isLoopback(hostname)
  const path = ['sign-in', 'hospital', 'issuer']
  if (protocol !== 'https:' && !(isDemonstration && isHere))
    reader.report(path, 'WRONG_VALUE', `"${issuer}"`, addressExpected)
  else if (!isDemonstration && (isHere || isReservedName(hostname)))
    reader.report(
      path,
      'ADDRESS_FICTION',
      `"${issuer}"`,
      'an address that is there: this name is kept for examples and leads nowhere',
    )
  return { name, issuer, clientId, ...(secretFile === undefined ? {} : { secretFile }) }
}
