import type { Paged } from './pager.ts'

/** The pages of one pager that have been handed over and have no outcome yet. */
export interface UnderWay {
  /**
   * Sends one page. A send that throws or rejects made nothing leave this process: `failed`, with its error in `failure`'s
   * words. Once stopped, nothing more is sent.
   */
  carry(send: () => Promise<Paged>): Promise<Paged>
  /** Takes no more, and resolves when what is under way has ended. */
  stop(): Promise<void>
}

/**
 * @param name     the pager as its reasons name it, e.g. "mail pager"
 * @param failure  why a send that threw could not be made; never an address, never a page's words
 */
export function underWay(name: string, failure: (error: unknown) => string): UnderWay {
  const going = new Set<Promise<Paged>>()
  let stopped = false
  return {
    async carry(send) {
      if (stopped) return { kind: 'failed', reason: `the ${name} is stopped` }
      const sending = send().catch((error: unknown): Paged => ({ kind: 'failed', reason: failure(error) }))
      going.add(sending)
      try {
        return await sending
      } finally {
        going.delete(sending)
      }
    },
    async stop() {
      stopped = true
      await Promise.all(going)
    },
  }
}
