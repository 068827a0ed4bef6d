import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { createAdaptorServer } from '@hono/node-server'
import { secureHeaders } from '../channels/web-guard.ts'
import { notePeer } from './peer-address.ts'

/** Who answers which path. */
export interface Mounted {
  /** Path prefix, `/p/` or `/board`; the longest that fits wins. */
  readonly path: string
  fetch(request: Request): Promise<Response>
}

export interface ServerPorts {
  /** Everything that no other mount claims. */
  readonly family: { fetch(request: Request): Promise<Response> }
  readonly mounts: readonly Mounted[]
  /** `ok: false` answers 503; the rest is shown as JSON and must name no child. */
  health(): Promise<{ readonly ok: boolean } & Readonly<Record<string, unknown>>>
  /**
   * Seconds after which to come back when the line takes nothing more now; undefined when it does. Asked on every POST of a
   * family. A clinician's press is never turned away: it is what a family is waiting for.
   */
  busySeconds(): number | undefined
  /** A whole page, worked out at the start: what families see when all else fails. Plain words and the numbers. */
  readonly fallback: { readonly markup: string; readonly nonce: string }
  /** Called with an error's name and the path's first part; never with words of a family. */
  onFault(fault: { readonly name: string; readonly where: string }): void
  readonly port: number
  /** Address to listen on; default `127.0.0.1`. */
  readonly host?: string
  /** In place of the shipped limits on how long and how large a request may be; see `REQUEST_LIMITS`. */
  readonly limits?: Partial<typeof REQUEST_LIMITS>
  /** How long requests under way may take to end after `stop`, in ms; default 5 000. */
  readonly stopWithinMs?: number
}

export interface Server {
  readonly port: number
  /** Takes no new request, waits for those under way, then closes what is left. Event streams must be ended before. */
  stop(): Promise<void>
}

/**
 * How long and how large a request may be, so that nobody who sends a byte a minute holds the door: headers within 15 s,
 * all of it within a minute (a long message on a poor line), looked at every 5 s; headers of 16 KiB at most. Event streams
 * are answers and not bound by it.
 */
const REQUEST_LIMITS = {
  headersTimeout: 15_000,
  requestTimeout: 60_000,
  connectionsCheckingInterval: 5_000,
  maxHeaderSize: 16 * 1024,
}

/** Starts the server; rejects when the port cannot be had. */
export async function serveHttp(ports: ServerPorts): Promise<Server> {
  const answer = answering(ports)
  const server = createAdaptorServer({
    fetch: (request, { incoming }) => {
      notePeer(request, incoming.socket.remoteAddress)
      return answer(request)
    },
    createServer,
    serverOptions: { ...REQUEST_LIMITS, ...ports.limits },
  })
  await new Promise<void>((resolve, reject) => {
    server.once('error', reject)
    server.listen(ports.port, ports.host ?? '127.0.0.1', resolve)
  })
  const { port } = server.address() as AddressInfo
  return {
    port,
    async stop() {
      const closed = new Promise<void>(resolve => server.close(() => resolve()))
      if ('closeIdleConnections' in server) server.closeIdleConnections()
      const timer = setTimeout(() => {
        if ('closeAllConnections' in server) server.closeAllConnections()
      }, ports.stopWithinMs ?? 5_000)
      await closed
      clearTimeout(timer)
    },
  }
}

/** One request to its mount; no fault leaves without plain words and the numbers. */
export function answering(ports: Omit<ServerPorts, 'port'>): (request: Request) => Promise<Response> {
  const mounts = ports.mounts.toSorted((a, b) => b.path.length - a.path.length)
  return async request => {
    const { pathname } = new URL(request.url)
    try {
      if (pathname === '/health') return await healthResponse(ports)
      const mount = mounts.find(({ path }) => fits(pathname, path)) ?? ports.family
      const seconds = request.method === 'POST' && mount === ports.family ? ports.busySeconds() : undefined
      if (seconds !== undefined) return fallbackResponse(ports, 503, { 'Retry-After': String(Math.ceil(seconds)) })
      return await mount.fetch(request)
    } catch (error) {
      const name = error instanceof Error ? error.name : typeof error
      ports.onFault({ name, where: `/${pathname.split('/')[1] === 'p' ? 'p' : ''}` })
      return fallbackResponse(ports, 500, {})
    }
  }
}

function fits(pathname: string, path: string): boolean {
  return pathname === path || pathname.startsWith(path.endsWith('/') ? path : `${path}/`)
}

async function healthResponse(ports: Omit<ServerPorts, 'port'>): Promise<Response> {
  const health = await ports.health()
  return Response.json(health, { status: health.ok ? 200 : 503, headers: secureHeaders('none', false) })
}

function fallbackResponse(
  { fallback }: Omit<ServerPorts, 'port'>,
  status: number,
  extra: Record<string, string>,
): Response {
  return new Response(fallback.markup, {
    status,
    headers: { ...secureHeaders(fallback.nonce, false), 'Content-Type': 'text/html; charset=utf-8', ...extra },
  })
}
