import type { Bare, PhotoRefused } from './web-photo.ts'

/** Flags of the extended header (RFC 9649, section 2.7). */
const HAS_ALPHA = 0x10
const IS_ANIMATED = 0x02

interface Size {
  readonly width: number
  readonly height: number
}

/** A still WebP of its picture and its transparency; Exif, XMP, profiles, unknown chunks and what follows its end are left out. */
export function webpWithout(bytes: Buffer): Bare | PhotoRefused {
  const end = 8 + bytes.readUInt32LE(4)
  if (end > bytes.length) return 'damaged'
  let canvas: Size | undefined
  let alpha: Buffer | undefined
  for (let at = 12; at + 8 <= end; ) {
    const type = bytes.subarray(at, at + 4).toString('latin1')
    const length = bytes.readUInt32LE(at + 4)
    const body = bytes.subarray(at + 8, at + 8 + length)
    if (body.length < length || at + 8 + length > end) return 'damaged'
    if (type === 'VP8X') {
      if (canvas !== undefined || length < 10) return 'damaged'
      if (((body[0] ?? 0) & IS_ANIMATED) !== 0) return 'not-a-photo'
      canvas = { width: 1 + body.readUIntLE(4, 3), height: 1 + body.readUIntLE(7, 3) }
    }
    if (type === 'ALPH') alpha = body
    if (type === 'VP8 ' || type === 'VP8L') {
      const size = type === 'VP8 ' ? lossySize(body) : losslessSize(body)
      if (size === undefined) return 'damaged'
      if (canvas !== undefined && (canvas.width !== size.width || canvas.height !== size.height)) return 'damaged'
      return { bytes: fileOf(size, alpha, { type, body }), ...size }
    }
    at += 8 + length + (length % 2)
  }
  return 'damaged'
}

/** Width and height in the first key frame (RFC 6386, section 9.1). */
function lossySize(body: Buffer): Size | undefined {
  if (body.length < 10 || body.readUIntBE(3, 3) !== 0x9d012a) return undefined
  return { width: body.readUInt16LE(6) & 0x3fff, height: body.readUInt16LE(8) & 0x3fff }
}

/** Width and height of a lossless picture (RFC 9649, section 3.4). */
function losslessSize(body: Buffer): Size | undefined {
  if (body.length < 5 || body[0] !== 0x2f) return undefined
  const bits = body.readUInt32LE(1)
  return { width: 1 + (bits & 0x3fff), height: 1 + ((bits >>> 14) & 0x3fff) }
}

function fileOf(
  size: Size,
  alpha: Buffer | undefined,
  picture: { readonly type: string; readonly body: Buffer },
): Buffer {
  const chunks = [
    ...(alpha === undefined ? [] : [chunk('VP8X', extendedHeader(size)), chunk('ALPH', alpha)]),
    chunk(picture.type, picture.body),
  ]
  const content = Buffer.concat([Buffer.from('WEBP', 'latin1'), ...chunks])
  const head = Buffer.from('RIFF\0\0\0\0', 'latin1')
  head.writeUInt32LE(content.length, 4)
  return Buffer.concat([head, content])
}

function extendedHeader({ width, height }: Size): Buffer {
  const header = Buffer.alloc(10)
  header[0] = HAS_ALPHA
  header.writeUIntLE(width - 1, 4, 3)
  header.writeUIntLE(height - 1, 7, 3)
  return header
}

function chunk(type: string, body: Buffer): Buffer {
  const head = Buffer.alloc(8)
  head.write(type, 'latin1')
  head.writeUInt32LE(body.length, 4)
  return Buffer.concat([head, body, Buffer.alloc(body.length % 2)])
}
