import type { Content } from '../store.ts'

const TEXT = 0x74
const BYTES = 0x62

/** Text or bytes as Redis keeps them: one byte that says which, then the content. */
export function storedContent(content: Content): Buffer {
  const isText = typeof content === 'string'
  const bytes = isText ? Buffer.from(content, 'utf8') : content
  const stored = Buffer.allocUnsafe(bytes.length + 1)
  stored[0] = isText ? TEXT : BYTES
  stored.set(bytes, 1)
  return stored
}

/** The reverse: text or bytes, as they were given. */
export function contentOf(stored: Uint8Array): Content {
  const content = Buffer.from(stored.buffer, stored.byteOffset + 1, stored.length - 1)
  if (stored[0] === TEXT) return content.toString('utf8')
  if (stored[0] === BYTES) return content
  throw new Error('store: a content in Redis is neither text nor bytes: its keys were changed by hand')
}

/** Several contents one after the other, each behind its length in four bytes. Copied once: a step packs thousands of bytes. */
export function packed(contents: readonly Content[]): Buffer {
  const lengths = contents.map(
    content => 1 + (typeof content === 'string' ? Buffer.byteLength(content) : content.length),
  )
  const all = Buffer.allocUnsafe(lengths.reduce((sum, length) => sum + 4 + length, 0))
  let at = 0
  contents.forEach((content, index) => {
    const isText = typeof content === 'string'
    at = all.writeUInt32LE(lengths[index] ?? 0, at)
    all[at] = isText ? TEXT : BYTES
    if (isText) all.write(content, at + 1)
    else all.set(content, at + 1)
    at += lengths[index] ?? 0
  })
  return all
}

/** The reverse. */
export function unpacked(stored: Buffer): Content[] {
  const contents: Content[] = []
  for (let from = 0; from < stored.length; ) {
    const length = stored.readUInt32LE(from)
    contents.push(contentOf(stored.subarray(from + 4, from + 4 + length)))
    from += 4 + length
  }
  return contents
}
