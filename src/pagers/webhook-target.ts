import type { LookupAddress } from 'node:dns'
import { BlockList, isIP } from 'node:net'

/** Which targets a clinic allows beyond public https addresses. */
export interface TargetRules {
  /** Host names (exact, lower case) that may be reached at private addresses. Default none. */
  readonly privateHosts?: readonly string[]
  /** Plain http to this machine itself. Default false. */
  readonly loopbackHttp?: boolean
}

/** Ranges that are not the public internet: IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890). */
const notPublic = new BlockList()
for (const [network, bits] of [
  ['0.0.0.0', 8],
  ['10.0.0.0', 8],
  ['100.64.0.0', 10],
  ['127.0.0.0', 8],
  ['169.254.0.0', 16],
  ['172.16.0.0', 12],
  ['192.0.0.0', 24],
  ['192.0.2.0', 24],
  ['192.88.99.0', 24],
  ['192.168.0.0', 16],
  ['198.18.0.0', 15],
  ['198.51.100.0', 24],
  ['203.0.113.0', 24],
  ['224.0.0.0', 4],
  ['240.0.0.0', 4],
] as const) {
  notPublic.addSubnet(network, bits, 'ipv4')
}
/** Of IPv6 only global unicast is taken (2000::/3), less the ranges in it that lead elsewhere. */
const globalUnicast = new BlockList()
globalUnicast.addSubnet('2000::', 3, 'ipv6')
for (const [network, bits] of [
  ['2001::', 23],
  ['2001:db8::', 32],
  ['2002::', 16],
  ['3fff::', 20],
] as const) {
  notPublic.addSubnet(network, bits, 'ipv6')
}

const loopback = new BlockList()
loopback.addSubnet('127.0.0.0', 8, 'ipv4')
loopback.addAddress('::1', 'ipv6')

/** Whether `address` (an IP address in figures) is on the public internet. IPv4 inside IPv6 is never taken. */
export function isPublicAddress(address: string): boolean {
  if (isIP(address) === 4) return !notPublic.check(address, 'ipv4')
  return isIP(address) === 6 && globalUnicast.check(address, 'ipv6') && !notPublic.check(address, 'ipv6')
}

export const isLoopbackAddress = (address: string): boolean =>
  loopback.check(address, isIP(address) === 6 ? 'ipv6' : 'ipv4')

/**
 * The target as a URL, or why it is refused: https only, no user name in it, no address in figures that is not public.
 * Names are looked at again when they are resolved (`mayConnect`), since a name may lead anywhere.
 */
export function targetOf(address: string, rules: TargetRules): URL | { readonly refused: string } {
  const url = URL.parse(address)
  if (url === null) return { refused: 'the address is not an absolute URL' }
  if (url.username !== '' || url.password !== '') return { refused: 'the address carries a user name or password' }
  const host = hostOf(url)
  const isHere = host === 'localhost' || (isIP(host) !== 0 && isLoopbackAddress(host))
  if (url.protocol === 'http:' && !(rules.loopbackHttp === true && isHere))
    return { refused: 'the address is not https' }
  if (url.protocol !== 'https:' && url.protocol !== 'http:') return { refused: 'the address is not https' }
  if (isIP(host) !== 0 && !mayConnect(url, [{ address: host, family: isIP(host) }], rules)) {
    return { refused: 'the address is not on the public internet and not allowed in the configuration' }
  }
  return url
}

/** Whether every address a name resolved to may be connected to: one private address among them refuses all. */
export function mayConnect(url: URL, found: readonly LookupAddress[], rules: TargetRules): boolean {
  if (found.length === 0) return false
  if (url.protocol === 'http:') return found.every(({ address }) => isLoopbackAddress(address))
  if (rules.privateHosts?.includes(hostOf(url)) === true) return true
  return found.every(({ address }) => isPublicAddress(address))
}

/** Host without the brackets of an IPv6 address. */
export const hostOf = (url: URL): string => url.hostname.replace(/^\[|\]$/g, '').toLowerCase()
