import { existsSync, readFileSync } from 'node:fs'

const read = new Map<string, Uint8Array | undefined>()

/** A drawing of the flows as PNG, or several of them in one picture, or undefined where there is none. Each is read once. */
export function pictureOf(id: string): Uint8Array | undefined {
  if (!/^[a-z][a-z+-]{0,120}$/.test(id)) return undefined
  if (!read.has(id)) {
    const file = new URL(`./drawings/${id}.png`, import.meta.url)
    read.set(id, existsSync(file) ? readFileSync(file) : undefined)
  }
  return read.get(id)
}
