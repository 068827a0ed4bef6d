import { crc32 } from 'node:zlib'

/** Pictures of 12 by 8 pixels as a browser writes them, with nothing beside them. */
export const JPEG = Buffer.from(
  '/9j/2wBDABQODxIPDRQSEBIXFRQYHjIhHhwcHj0sLiQySUBMS0dARkVQWnNiUFVtVkVGZIhlbXd7gYKBTmCNl4x9lnN+gXz/2wBDARUXFx4aHjshITt8U0ZTfHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHx8fHz/wAARCAAIAAwDASIAAhEBAxEB/8QAFgABAQEAAAAAAAAAAAAAAAAAAAEF/8QAFBABAAAAAAAAAAAAAAAAAAAAAP/EABUBAQEAAAAAAAAAAAAAAAAAAAMF/8QAFhEBAQEAAAAAAAAAAAAAAAAAAQAR/9oADAMBAAIRAxEAPwDOUALtVDL/2Q==',
  'base64',
)
export const PNG = Buffer.from(
  'iVBORw0KGgoAAAANSUhEUgAAAAwAAAAICAYAAADN5B7xAAAAP0lEQVR4AayNsQ0AIAgEP6zgKGyhm9rrVs4gHQX5BgLJNU/uX7bqzyBIngtnTERYlwvsybK6sN5FpHeBtbHMAAAA//9OSUAvAAAABklEQVQDACQcJ8W9xY1JAAAAAElFTkSuQmCC',
  'base64',
)
export const WEBP = Buffer.from(
  'UklGRjoAAABXRUJQVlA4IC4AAABwAQCdASoMAAgAA4BaJbACdAF1AAD+6tRXfSSVWgxFir+Hr3xONq/aj/ajmAAA',
  'base64',
)
export const WEBP_CLEAR = Buffer.from(
  'UklGRmwAAABXRUJQVlA4WAoAAAAQAAAACwAABwAAQUxQSBIAAAABDzBmERFCIJBktj/ZChH9jxxWUDggNAAAAHABAJ0BKgwACAADgFolqAJ0AUAAAP7w73/+2EPvA+clBD/8TGBL8//gmP4/r2Pn/8AAAAA=',
  'base64',
)

/** A segment of a JPEG. */
export function segment(marker: number, body: Buffer | string): Buffer {
  const content = Buffer.from(body as string, 'latin1')
  const head = Buffer.from([0xff, marker, 0, 0])
  head.writeUInt16BE(content.length + 2, 2)
  return Buffer.concat([head, content])
}

/** The JPEG with segments after its first marker. */
export const jpegWith = (...segments: readonly Buffer[]): Buffer =>
  Buffer.concat([JPEG.subarray(0, 2), ...segments, JPEG.subarray(2)])

/** Exif that says which way up (tag 0x0112), and that there are coordinates (tag 0x8825), little-endian as telephones write it. */
export function exif(turned: number): Buffer {
  const orientation = [0x12, 0x01, 3, 0, 1, 0, 0, 0, turned, 0, 0, 0]
  const coordinates = [0x25, 0x88, 4, 0, 1, 0, 0, 0, 0x26, 0, 0, 0]
  const directory = [8, 0, 0, 0, 2, 0, ...orientation, ...coordinates, 0, 0, 0, 0]
  const content = Buffer.concat([
    Buffer.from('Exif\0\0II*\0', 'latin1'),
    Buffer.from(directory),
    Buffer.from('HERE 40.7128N 74.0060W'),
  ])
  return segment(0xe1, content.toString('latin1'))
}

/** A chunk of a PNG, with its check sum. */
export function pngChunk(type: string, body: Buffer | string): Buffer {
  const content = Buffer.concat([Buffer.from(type, 'latin1'), Buffer.from(body as string, 'latin1')])
  const whole = Buffer.alloc(content.length + 8)
  whole.writeUInt32BE(content.length - 4, 0)
  content.copy(whole, 4)
  whole.writeUInt32BE(crc32(content), whole.length - 4)
  return whole
}

const HEADER_END = 33

/** The PNG with chunks after its header. */
export const pngWith = (...chunks: readonly Buffer[]): Buffer =>
  Buffer.concat([PNG.subarray(0, HEADER_END), ...chunks, PNG.subarray(HEADER_END)])

/** The PNG as one that claims another size. */
export function pngOf(width: number, height: number): Buffer {
  const header = Buffer.from(PNG.subarray(16, 29))
  header.writeUInt32BE(width, 0)
  header.writeUInt32BE(height, 4)
  return Buffer.concat([PNG.subarray(0, 8), pngChunk('IHDR', header.toString('latin1')), PNG.subarray(HEADER_END)])
}

/** A chunk of a WebP. */
export function webpChunk(type: string, body: Buffer | string): Buffer {
  const content = Buffer.from(body as string, 'latin1')
  const head = Buffer.alloc(8)
  head.write(type, 'latin1')
  head.writeUInt32LE(content.length, 4)
  return Buffer.concat([head, content, Buffer.alloc(content.length % 2)])
}

/** A WebP of these chunks. */
export function webpOf(...chunks: readonly Buffer[]): Buffer {
  const content = Buffer.concat([Buffer.from('WEBP', 'latin1'), ...chunks])
  const head = Buffer.from('RIFF\0\0\0\0', 'latin1')
  head.writeUInt32LE(content.length, 4)
  return Buffer.concat([head, content])
}
