/**
 * Texts read of late, with what they say. One message has the same case read by whoever chooses it, whoever understands the
 * message and whoever steps: its text is read once for all of them.
 */
const LATELY_MOST = 64
const lately = new Map<string, unknown>()

/** What a stored text says, frozen: it is shared. Throws SyntaxError where it is not JSON. */
export function storedJson(text: string): unknown {
  const known = lately.get(text)
  if (known !== undefined) return known
  const read: unknown = frozen(JSON.parse(text))
  if (lately.size >= LATELY_MOST) {
    for (const oldest of lately.keys()) {
      lately.delete(oldest)
      break
    }
  }
  lately.set(text, read)
  return read
}

/** Nothing read so far is remembered: a case was erased, and no text of it may be left. */
export function forgetStoredJson(): void {
  lately.clear()
}

function frozen(value: unknown): unknown {
  if (typeof value !== 'object' || value === null) return value
  for (const part of Object.values(value)) frozen(part)
  return Object.freeze(value)
}
