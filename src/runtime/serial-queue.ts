/** Work in order within a key, side by side across keys. */
export interface SerialQueue {
  /** Runs `work` after everything given before it under this key; resolves or rejects as it does. */
  run<T>(key: string, work: () => Promise<T>): Promise<T>
  /** Work waiting or under way. */
  readonly size: number
  /** The same under one key. */
  sizeOf(key: string): number
  /** Resolves when nothing is waiting or under way. */
  drained(): Promise<void>
}

export function serialQueue(): SerialQueue {
  const tails = new Map<string, Promise<unknown>>()
  const sizes = new Map<string, number>()
  let size = 0
  let waiters: (() => void)[] = []

  function ended(key: string, tail: Promise<unknown>): void {
    if (tails.get(key) === tail) tails.delete(key)
    size -= 1
    const left = (sizes.get(key) ?? 1) - 1
    if (left === 0) sizes.delete(key)
    else sizes.set(key, left)
    if (size > 0) return
    const done = waiters
    waiters = []
    for (const resolve of done) resolve()
  }

  return {
    run(key, work) {
      size += 1
      sizes.set(key, (sizes.get(key) ?? 0) + 1)
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
    sizeOf: key => sizes.get(key) ?? 0,
    drained: () => (size === 0 ? Promise.resolve() : new Promise(resolve => waiters.push(resolve))),
  }
}
