/** Network address of whoever is at the other end, as the socket has it; known only for requests of our own server. */
const peers = new WeakMap<Request, string>()

/** Notes where a request came from. Called by the server alone. */
export const notePeer = (request: Request, address: string | undefined): void => {
  if (address !== undefined) peers.set(request, address)
}

/**
 * Where a request comes from. Behind a proxy on this machine (the socket is local and the clinic has a public address) that is
 * the last entry of `X-Forwarded-For`, which the proxy itself wrote; entries before it are whatever the sender liked.
 */
export function addressOf(request: Request, isBehindProxy: boolean): string {
  const peer = peers.get(request) ?? 'unknown'
  if (!isBehindProxy || !/^(?:::ffff:)?127\.|^::1$/.test(peer)) return peer
  const last = request.headers.get('x-forwarded-for')?.split(',').at(-1)?.trim()
  return last !== undefined && /^[0-9a-fA-F.:]{2,45}$/.test(last) ? last : peer
}
