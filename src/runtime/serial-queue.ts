/** Work in order within a key, side by side across keys. */
export interface SerialQueue {
  /** Runs `work` after everything given before it under this key; resolves or rejects as it does. */
  run<T>(key: string, work: () => Promise<T>): Promise<T>
  /** Work waiting or under way. */
  readonly size: number
  /** Resolves when nothing is waiting or under way. */
  drained(): Promise<void>
}

export function serialQueue(): SerialQueue {
  const tails = new Map<string, Promise<unknown>>()
  let size = 0
  let waiters: (() => void)[] = []

  function ended(key: string, tail: Promise<unknown>): void {
    if (tails.get(key) === tail) tails.delete(key)
    size -= 1
    if (size > 0) return
    const done = waiters
    waiters = []
    for (const resolve of done) resolve()
  }

  return {
    run(key, work) {
      size += 1
      const result = (tails.get(key) ?? Promise.resolve()).then(work)
      // What failed must not keep the next from its turn: the failure belongs to whoever asked.
      const tail: Promise<unknown> = result.then(
        () => ended(key, tail),
        () => ended(key, tail),
      )
      tails.set(key, tail)
      return result
    },
    get size() {
      return size
    },
    drained: () => (size === 0 ? Promise.resolve() : new Promise(resolve => waiters.push(resolve))),
  }
}
