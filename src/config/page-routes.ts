import { isIP } from 'node:net'
import { nearestId } from '../flow/problem.ts'
import type { PageAddress } from '../oncall/clinic.ts'
import { pageAtShape, pagerKinds } from './clinic-shapes.ts'
import { isLoopback, isReservedName } from './fiction.ts'
import type { PartReader, Path } from './part-reader.ts'

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
    if (fault === undefined) found.push({ pager, address })
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
    case 'smtp':
      return oneMailAddress.test(address) ? undefined : 'one e-mail address, like name@clinic.example'
    case 'webhook':
      if (address === 'demo:') return demonstration ? undefined : 'a web address: "demo:" works in a demonstration only'
      return isPublicHttps(address)
        ? undefined
        : 'a web address that starts with https://, without user name or IP address'
    default:
      return 'unknown-pager'
  }
}

function isPublicHttps(address: string): boolean {
  if (!URL.canParse(address)) return false
  const { protocol, hostname, username, password } = new URL(address)
  return protocol === 'https:' && username === '' && password === '' && isIP(hostname.replaceAll(/[[\]]/g, '')) === 0
}

/** A made-up address in a real clinic pages nobody; a real one in a demonstration pages somebody. */
function reportReserved(reader: PartReader, path: Path, pager: string, address: string, demonstration: boolean): void {
  if (pager === 'board' || address === 'demo:') return
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
