/** States as words of 32 bits, and the table of all that were seen. */

export interface Packing {
  readonly words: number
  /** Bits used in all. */
  readonly bits: number
  pack(state: Int32Array, into: Int32Array, at: number): void
  unpack(from: Int32Array, at: number, state: Int32Array): void
}

/** @param sizes  for each field, how many values it has (0 to size − 1) */
export function packing(sizes: readonly number[]): Packing {
  const used = sizes.flatMap((size, field) => (size > 1 ? [{ field, bits: bitsFor(size) }] : []))
  const places: { field: number; word: number; shift: number; mask: number }[] = []
  const free: number[] = []
  for (const { field, bits } of used.toSorted((a, b) => b.bits - a.bits)) {
    let word = free.findIndex(room => room >= bits)
    if (word === -1) word = free.push(32) - 1
    const room = free[word] as number
    places.push({ field, word, shift: 32 - room, mask: bits === 32 ? -1 : (1 << bits) - 1 })
    free[word] = room - bits
  }
  places.sort((a, b) => a.word - b.word)
  const words = Math.max(1, free.length)
  const field = Int32Array.from(places, place => place.field)
  /** Where the fields of each word end. */
  const ends = Int32Array.from({ length: words }, (_, each) => places.filter(({ word }) => word <= each).length)
  /** Fields of one value only: they take no room. */
  const single = Int32Array.from(sizes.flatMap((size, at) => (size > 1 ? [] : [at])))
  const shift = Int32Array.from(places, place => place.shift)
  const mask = Int32Array.from(places, place => place.mask)
  return {
    words,
    bits: used.reduce((sum, { bits }) => sum + bits, 0),
    pack(state, into, at) {
      for (let w = 0, i = 0; w < words; w++) {
        let packed = 0
        for (const end = ends[w] as number; i < end; i++)
          packed |= (state[field[i] as number] as number) << (shift[i] as number)
        into[at + w] = packed
      }
    },
    unpack(from, at, state) {
      for (let i = 0; i < single.length; i++) state[single[i] as number] = 0
      for (let w = 0, i = 0; w < words; w++) {
        const packed = from[at + w] as number
        for (const end = ends[w] as number; i < end; i++)
          state[field[i] as number] = (packed >>> (shift[i] as number)) & (mask[i] as number)
      }
    },
  }
}

const bitsFor = (size: number): number => 32 - Math.clz32(size - 1)

/** A growing list of packed states without repeats, numbered in the order they were found. */
export class StateTable {
  readonly words: number
  count = 0
  #states: Int32Array
  #slots: Int32Array
  #used = 0

  constructor(words: number) {
    this.words = words
    this.#states = new Int32Array(words * 1024)
    this.#slots = new Int32Array(4096).fill(-1)
  }

  get states(): Int32Array {
    return this.#states
  }

  /** Bytes held. */
  get bytes(): number {
    return this.#states.byteLength + this.#slots.byteLength
  }

  /** The number of a packed state; added when it is new (`count` then grows). */
  add(packed: Int32Array): number {
    const { words } = this
    const mask = this.#slots.length - 1
    let slot = hashOf(packed, words) & mask
    for (;;) {
      const found = this.#slots[slot] as number
      if (found === -1) break
      if (this.#equals(found * words, packed)) return found
      slot = (slot + 1) & mask
    }
    const number = this.count++
    if (this.count * words > this.#states.length) this.#grow()
    for (let w = 0; w < words; w++) this.#states[number * words + w] = packed[w] as number
    this.#slots[slot] = number
    if (++this.#used * 2 > this.#slots.length) this.#rehash()
    return number
  }

  #equals(at: number, packed: Int32Array): boolean {
    for (let w = 0; w < this.words; w++) if (this.#states[at + w] !== packed[w]) return false
    return true
  }

  #grow(): void {
    const larger = new Int32Array(this.#states.length * 2)
    larger.set(this.#states)
    this.#states = larger
  }

  #rehash(): void {
    const slots = new Int32Array(this.#slots.length * 2).fill(-1)
    const mask = slots.length - 1
    const one = new Int32Array(this.words)
    for (let number = 0; number < this.count; number++) {
      for (let w = 0; w < this.words; w++) one[w] = this.#states[number * this.words + w] as number
      let slot = hashOf(one, this.words) & mask
      while (slots[slot] !== -1) slot = (slot + 1) & mask
      slots[slot] = number
    }
    this.#slots = slots
  }
}

/** Mixes all words (the finaliser of MurmurHash3, A. Appleby, public domain; from memory). */
function hashOf(packed: Int32Array, words: number): number {
  let hash = 0x9e3779b9 | 0
  for (let w = 0; w < words; w++) {
    hash = Math.imul(hash ^ (packed[w] as number), 0x85ebca6b)
    hash ^= hash >>> 13
    hash = Math.imul(hash, 0xc2b2ae35)
    hash ^= hash >>> 16
  }
  return hash & 0x7fffffff
}
