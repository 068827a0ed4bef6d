import type { Clock } from './clock.ts'

/** A loop's rest: until its time is up, or until it is kicked. A kick given while the loop works ends its next rest at once. */
export interface Pacer {
  rest(ms: number): Promise<void>
  kick(): void
  /** True while resting with no kick given. */
  readonly isResting: boolean
}

export function pacer(clock: Clock): Pacer {
  let kicked = false
  let end: (() => void) | undefined
  return {
    rest(ms) {
      if (kicked) {
        kicked = false
        return Promise.resolve()
      }
      return new Promise(resolve => {
        const finish = () => {
          cancel()
          end = undefined
          kicked = false
          resolve()
        }
        const cancel = clock.wake(clock.monotonicMs() + Math.max(0, ms), finish)
        end = finish
      })
    },
    kick() {
      kicked = true
      end?.()
    },
    get isResting() {
      return end !== undefined
    },
  }
}
