import { sha256 } from '../runtime/system-clock.ts'

/** Gives what `make` made the last time for `what`, where it was `about` the same; makes it, and remembers it, where not. */
export type Again = <T>(what: string, about: readonly unknown[], make: () => T) => T

/** The last of each, in memory. What was thrown is not remembered. */
export function remembering(): Again {
  const made = new Map<string, { readonly about: string; readonly value: unknown }>()
  return <T>(what: string, about: readonly unknown[], make: () => T): T => {
    const key = sha256(JSON.stringify(about))
    const before = made.get(what)
    if (before?.about === key) return before.value as T
    const value = make()
    made.set(what, { about: key, value })
    return value
  }
}
