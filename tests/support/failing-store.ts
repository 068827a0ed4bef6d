import type { Store } from '../../src/store/store.ts'

/**
 * How a store fails: `full` keeps nothing and gives everything, `contended` lets every step collide with another's,
 * `unclaimed` gives out nothing that is to be sent and does all else.
 */
export type HowItFails = 'throws' | 'hangs' | 'unread' | 'full' | 'contended' | 'unclaimed'

/** A store that works until it is told to fail, and again once it is told to. */
export interface FailingStore {
  through(store: Store): Store
  fail(how: HowItFails): void
  mend(): void
}

const WRITES = new Set(['commit', 'claim', 'rendered', 'settle', 'probe'])

export function failingStore(): FailingStore {
  let how: HowItFails | undefined

  function failing(call: string): Promise<never> | undefined {
    if (how === 'hangs') return new Promise(() => undefined)
    const isWrite = WRITES.has(call)
    if (how === 'unclaimed' && call === 'claim') return Promise.reject(new Error('outbox damaged'))
    const fails = how === 'throws' || (how === 'unread' && !isWrite) || (how === 'full' && isWrite)
    return fails ? Promise.reject(new Error(`disk gone while ${call}: her tube is out, +1 202 555 0142`)) : undefined
  }

  return {
    through(store) {
      const calls = Object.entries(store).map(([call, work]) => {
        if (typeof work !== 'function' || call === 'close' || call === 'onCommitted' || call === 'queued')
          return [call, work]
        return [
          call,
          (...given: readonly unknown[]) => {
            if (call === 'commit' && how === 'contended') return Promise.resolve('conflict')
            return failing(call) ?? (work as (...all: readonly unknown[]) => unknown)(...given)
          },
        ]
      })
      return Object.fromEntries(calls) as Store
    },
    fail(kind) {
      how = kind
    },
    mend() {
      how = undefined
    },
  }
}
