import { isIP } from 'node:net'
import { nearestId } from '../flow/problem.ts'
import type { PageAddress } from '../oncall/clinic.ts'
import { pageAtShape, pagerKinds } from './clinic-shapes.ts'
import { isForFiction, isLoopback, isReservedName } from './fiction.ts'
import type { PartReader, Path } from './part-reader.ts'
import { readFullNumber } from './telephone.ts'

const oneMailAddress = /^[^\s@,;:<>"()[\]\\]+@(?:[A-Za-z0-9](?:[A-Za-z0-9-]*[A-Za-z0-9])?\.)+[A-Za-z]{2,}$/

/** Reads a `page-at` or `handover-to` list. Items at fault are left out and told. */
export function pageAddresses(reader: PartReader, path: Path, demonstration: boolean): readonly PageAddress[] {
  const found: PageAddress[] = []
  for (let index = 0; index < reader.count(path); index++) {
    const here = [...path, index]
    const read = reader.part(here, pageAtShape)
    if (read === undefined) continue
    const { pager, address = '' } = read
    const fault = addressFault(pager, address, demonstration)
    if (fault === undefined) found.push({ pager, address: pager === 'sms' ? numberIn(address) : address })
    else if (fault === 'unknown-pager') {
      const nearest = nearestId(pager, pagerKinds)
      reader.report(
        [...here, 'pager'],
        'UNKNOWN_PAGER',
        `unknown pager "${pager}"`,
        `one of: ${pagerKinds.join(', ')}`,
        { nearest },
      )
    } else {
      const at = address === '' ? [...here, 'pager'] : [...here, 'address']
      reader.report(
        at,
        'ADDRESS_UNREADABLE',
        address === '' ? `no address for ${pager}` : `"${address}" for ${pager}`,
        fault,
      )
    }
    if (fault === undefined) reportReserved(reader, [...here, 'address'], pager, address, demonstration)
  }
  return found
}

/** What was expected where an address cannot be used; undefined where it can. */
function addressFault(pager: string, address: string, demonstration: boolean): string | undefined {
  switch (pager) {
    case 'board':
      return address === '' ? undefined : 'no address: the board is the screen of the clinic console'
    case 'telegram':
      return address === '' ? undefined : 'no address: whoever is paged links their own account by a code'
    case 'smtp':
      return oneMailAddress.test(address) ? undefined : 'one e-mail address, like name@clinic.example'
    case 'webhook':
      if (address === 'demo:') return demonstration ? undefined : 'a web address: "demo:" works in a demonstration only'
      return isPublicHttps(address)
        ? undefined
        : 'a web address that starts with https://, without user name or IP address'
    case 'sms':
      return numberIn(address) === ''
        ? 'a mobile number with + and the country code, in quotes, like "+1 212 555 0110"'
        : undefined
    default:
      return 'unknown-pager'
  }
}

/** E.164 of a number as it was written; empty where it is none that could be reached. */
const numberIn = (address: string): string => readFullNumber(address).number ?? ''

function isPublicHttps(address: string): boolean {
  if (!URL.canParse(address)) return false
  const { protocol, hostname, username, password } = new URL(address)
  return protocol === 'https:' && username === '' && password === '' && isIP(hostname.replaceAll(/[[\]]/g, '')) === 0
}

/** A made-up address in a real clinic pages nobody; a real one in a demonstration pages somebody. */
function reportReserved(reader: PartReader, path: Path, pager: string, address: string, demonstration: boolean): void {
  if (pager === 'board' || pager === 'telegram' || address === 'demo:') return
  if (pager === 'sms') {
    reportNumber(reader, path, numberIn(address), demonstration)
    return
  }
  const reserved = isReservedName(pager === 'smtp' ? address : new URL(address).hostname)
  if (reserved && !demonstration) {
    reader.report(
      path,
      'ADDRESS_FICTION',
      `"${address}"`,
      'an address somebody reads: this name is kept for examples and leads nowhere',
    )
  }
  if (!reserved && !demonstration && pager === 'webhook' && isLoopback(new URL(address).hostname)) {
    reader.report(path, 'PAGER_LOOPBACK', `"${address}"`, 'an address of another machine: this one is the bot itself')
  }
  if (!reserved && demonstration) {
    const expected = 'a made-up address (ending in .test or .example): a demonstration must page nobody'
    reader.report(path, 'ADDRESS_REAL', `"${address}"`, expected)
  }
}

/** A made-up number in a real clinic wakes nobody; a real one in a demonstration wakes somebody. */
function reportNumber(reader: PartReader, path: Path, number: string, demonstration: boolean): void {
  if (isForFiction(number) === demonstration) return
  if (demonstration) {
    const expected = 'a number kept for fiction: a demonstration must page nobody'
    reader.report(path, 'ADDRESS_REAL', `"${number}"`, expected)
  } else {
    const expected = 'a telephone that somebody carries: this number is kept for fiction and rings nobody'
    reader.report(path, 'ADDRESS_FICTION', `"${number}"`, expected)
  }
}
