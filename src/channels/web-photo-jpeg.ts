import type { Bare, PhotoRefused } from './web-photo.ts'

/** Markers of ITU-T T.81 (JPEG), table B.1. */
const SOI = 0xd8
const EOI = 0xd9
const SOS = 0xda
const DQT = 0xdb
const DHT = 0xc4
const DRI = 0xdd
const APP0 = 0xe0
const APP1 = 0xe1
const APP14 = 0xee
const COM = 0xfe
/** Baseline, extended and progressive frames: what telephones write and browsers read. */
const FRAMES: ReadonlySet<number> = new Set([0xc0, 0xc1, 0xc2])
const TABLES: ReadonlySet<number> = new Set([DQT, DHT, DRI])

/** The colours of a photo with four or unmarked components hang on this one: "Adobe", version, flags, transform. */
const ADOBE_BYTES = 12

/**
 * A JPEG of its frame, tables and scans, and which way up it is held; all else is left out, and so is what follows its end.
 * Order and lengths as T.81 annex B says; orientation as Exif 2.3 (tag 0x0112 of the first directory).
 */
export function jpegWithout(bytes: Buffer): Bare | PhotoRefused {
  const kept: Buffer[] = []
  let frame: { readonly width: number; readonly height: number } | undefined
  let turned = 1
  let scans = 0
  let at = 2
  while (at < bytes.length) {
    if (bytes[at] !== 0xff) return 'damaged'
    while (bytes[at] === 0xff) at += 1
    const marker = bytes[at] ?? 0
    at += 1
    if (marker === EOI) {
      if (frame === undefined || scans === 0) return 'damaged'
      const head = [Buffer.from([0xff, SOI]), ...(turned === 1 ? [] : [orientationSegment(turned)])]
      return { bytes: Buffer.concat([...head, ...kept, Buffer.from([0xff, EOI])]), ...frame }
    }
    if (at + 2 > bytes.length) return 'damaged'
    const length = bytes.readUInt16BE(at)
    const end = at + length
    if (length < 2 || end > bytes.length) return 'damaged'
    const body = bytes.subarray(at + 2, end)
    if (marker === APP1) turned = orientationIn(body) ?? turned
    else if (marker === APP14 && body.subarray(0, 5).toString('latin1') === 'Adobe' && body.length >= ADOBE_BYTES)
      kept.push(segment(marker, body.subarray(0, ADOBE_BYTES)))
    else if (TABLES.has(marker)) kept.push(segment(marker, body))
    else if (FRAMES.has(marker)) {
      if (frame !== undefined || body.length < 6) return 'damaged'
      frame = { height: body.readUInt16BE(1), width: body.readUInt16BE(3) }
      kept.push(segment(marker, body))
    } else if (marker === SOS) {
      if (frame === undefined) return 'damaged'
      const scanEnd = endOfScan(bytes, end)
      kept.push(segment(marker, body), bytes.subarray(end, scanEnd))
      scans += 1
      at = scanEnd
      continue
    } else if (!(marker >= APP0 && marker <= 0xef) && marker !== COM) return 'damaged'
    at = end
  }
  return 'damaged'
}

function segment(marker: number, body: Buffer): Buffer {
  const head = Buffer.from([0xff, marker, 0, 0])
  head.writeUInt16BE(body.length + 2, 2)
  return Buffer.concat([head, body])
}

/** Where the packed picture ends: at the next marker that is neither a stuffed byte nor a restart. */
function endOfScan(bytes: Buffer, from: number): number {
  for (let at = bytes.indexOf(0xff, from); at !== -1 && at + 1 < bytes.length; at = bytes.indexOf(0xff, at + 1)) {
    const next = bytes[at + 1] ?? 0
    if (next !== 0 && next !== 0xff && !(next >= 0xd0 && next <= 0xd7)) return at
  }
  return bytes.length
}

/** Which way up the telephone was held, 1 to 8; undefined where it is not said. */
function orientationIn(body: Buffer): number | undefined {
  if (body.subarray(0, 6).toString('latin1') !== 'Exif\0\0') return undefined
  const tiff = body.subarray(6)
  if (tiff.length < 14) return undefined
  const isLittle = tiff.subarray(0, 2).toString('latin1') === 'II'
  const two = (at: number): number => (isLittle ? tiff.readUInt16LE(at) : tiff.readUInt16BE(at))
  const first = isLittle ? tiff.readUInt32LE(4) : tiff.readUInt32BE(4)
  if (first + 2 > tiff.length) return undefined
  const entries = two(first)
  for (let entry = 0; entry < entries; entry += 1) {
    const at = first + 2 + entry * 12
    if (at + 12 > tiff.length) return undefined
    if (two(at) !== 0x0112) continue
    const turned = two(at + 8)
    return turned >= 1 && turned <= 8 ? turned : undefined
  }
  return undefined
}

/** An Exif segment that says which way up and nothing else. */
function orientationSegment(turned: number): Buffer {
  const entry = [0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, turned, 0, 0]
  return segment(
    APP1,
    Buffer.concat([Buffer.from('Exif\0\0MM\0*', 'latin1'), Buffer.from([0, 0, 0, 8, 0, 1, ...entry, 0, 0, 0, 0])]),
  )
}
