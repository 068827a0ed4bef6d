import { crc32 } from 'node:zlib'
import type { Bare, PhotoRefused } from './web-photo.ts'

const SIGNATURE_BYTES = 8
/** Chunks the picture is made of (PNG, third edition, section 11.2), and those that only say what its colours mean. */
const KEPT: ReadonlySet<string> = new Set(['IHDR', 'PLTE', 'IDAT', 'IEND', 'tRNS', 'sRGB', 'gAMA', 'cHRM', 'sBIT'])

/** A PNG of its picture and colours; texts, times, Exif, profiles, frames of an animation and what follows its end are left out. */
export function pngWithout(bytes: Buffer): Bare | PhotoRefused {
  const kept: Buffer[] = [bytes.subarray(0, SIGNATURE_BYTES)]
  let size: { readonly width: number; readonly height: number } | undefined
  let hasPicture = false
  for (let at = SIGNATURE_BYTES; at + 12 <= bytes.length; ) {
    const length = bytes.readUInt32BE(at)
    const end = at + 12 + length
    if (length > 0x7fff_ffff || end > bytes.length) return 'damaged'
    const type = bytes.subarray(at + 4, at + 8).toString('latin1')
    const body = bytes.subarray(at + 8, at + 8 + length)
    if (crc32(bytes.subarray(at + 4, at + 8 + length)) !== bytes.readUInt32BE(end - 4)) return 'damaged'
    if ((size === undefined) !== (type === 'IHDR')) return 'damaged'
    if (type === 'IHDR') {
      if (length !== 13) return 'damaged'
      size = { width: body.readUInt32BE(0), height: body.readUInt32BE(4) }
    }
    // A chunk whose name begins with a capital letter cannot be left out (section 5.4).
    if (!KEPT.has(type) && /^[A-Z]/.test(type)) return 'damaged'
    if (KEPT.has(type)) kept.push(bytes.subarray(at, end))
    if (type === 'IDAT') hasPicture = true
    if (type === 'IEND') return size === undefined || !hasPicture ? 'damaged' : { bytes: Buffer.concat(kept), ...size }
    at = end
  }
  return 'damaged'
}
