import type { Instant } from '../../time/instant.ts'

/** Streams one chat may hold open (a family's phones and tabs); the oldest is closed for a new one. */
const STREAMS_PER_CHAT_MAX = 6
/** Streams in all; beyond it a page asks every few seconds instead. */
const STREAMS_MAX = 5_000

/**
 * Open event streams by chat. A stream only says "there is something new": the page then reads the log, so a missed
 * event costs nothing. Each event's id is the log's version, so a page that comes back with `Last-Event-ID` is told at
 * once whether it has missed anything.
 */
export interface Streams {
  /** A stream for one page, or `undefined` when there are too many. `seen` is the version the page already has. */
  open(chat: string, version: string, seen: string | undefined): Response | undefined
  /** Tells every page of a chat that the log is now at `version`. */
  tell(chat: string, version: string): void
  /** Whether any page of a chat is listening. */
  isOpen(chat: string): boolean
  readonly count: number
  /** Sends a heartbeat to every page; a page that hears none looks for itself. */
  beat(at: Instant): void
  closeAll(): void
}

type Sink = ReadableStreamDefaultController<Uint8Array>

export function openStreams(): Streams {
  const byChat = new Map<string, Set<Sink>>()
  const encoder = new TextEncoder()
  let count = 0

  const forget = (chat: string, sink: Sink): void => {
    const sinks = byChat.get(chat)
    if (sinks?.delete(sink) !== true) return
    count -= 1
    if (sinks.size === 0) byChat.delete(chat)
  }
  const send = (chat: string, sink: Sink, text: string): void => {
    try {
      sink.enqueue(encoder.encode(text))
    } catch {
      forget(chat, sink) // the page has gone
    }
  }
  const close = (chat: string, sink: Sink): void => {
    forget(chat, sink)
    try {
      sink.close()
    } catch {
      // already closed by the page
    }
  }
  const join = (chat: string, sink: Sink): void => {
    const sinks = byChat.get(chat) ?? new Set()
    byChat.set(chat, sinks)
    const oldest = sinks.values().next().value
    if (sinks.size >= STREAMS_PER_CHAT_MAX && oldest !== undefined) close(chat, oldest)
    byChat.set(chat, sinks)
    sinks.add(sink)
    count += 1
  }

  return {
    open(chat, version, seen) {
      if (count >= STREAMS_MAX) return undefined
      let own: Sink | undefined
      const stream = new ReadableStream<Uint8Array>({
        start(sink) {
          own = sink
          join(chat, sink)
          send(chat, sink, `retry: 2000\n${seen === version ? ': nothing new\n\n' : logEvent(version)}`)
        },
        cancel() {
          if (own !== undefined) forget(chat, own)
        },
      })
      return new Response(stream, {
        headers: {
          'Content-Type': 'text/event-stream; charset=utf-8',
          'Cache-Control': 'no-store, no-transform',
          'X-Accel-Buffering': 'no',
          'X-Content-Type-Options': 'nosniff',
        },
      })
    },
    tell(chat, version) {
      for (const sink of byChat.get(chat) ?? []) send(chat, sink, logEvent(version))
    },
    isOpen: chat => byChat.has(chat),
    get count() {
      return count
    },
    beat(at) {
      for (const [chat, sinks] of byChat) for (const sink of sinks) send(chat, sink, `event: beat\ndata: ${at}\n\n`)
    },
    closeAll() {
      for (const [chat, sinks] of byChat) for (const sink of sinks) close(chat, sink)
    },
  }
}

function logEvent(version: string): string {
  return `id: ${version}\nevent: log\ndata: ${version}\n\n`
}
