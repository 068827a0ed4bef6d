import { jpegWithout } from './web-photo-jpeg.ts'
import { pngWithout } from './web-photo-png.ts'
import { webpWithout } from './web-photo-webp.ts'

/** Largest file that is taken, in bytes (inclusive): a telephone's photo of today has 3 to 6 MB (common practice, no source). */
export const PHOTO_BYTES_MAX = 10 * 1024 * 1024

/** Most pixels of a photo (inclusive). A small file may claim more than a browser has memory for. */
const PIXELS_MAX = 50_000_000
/** Longest side in pixels (inclusive). */
const SIDE_MAX = 16_383

export type PhotoType = 'image/jpeg' | 'image/png' | 'image/webp'

/** A photo with nothing in it but the picture. */
export interface Photo {
  readonly type: PhotoType
  readonly bytes: Uint8Array
}

/** `not-a-photo`: no still JPEG, PNG or WebP by its bytes. `damaged`: begins like one, and is not whole. `too-large`: too many pixels. */
export type PhotoRefused = 'not-a-photo' | 'damaged' | 'too-large'

/** What is left of a file, with the size it says it has. */
export interface Bare {
  readonly bytes: Uint8Array
  readonly width: number
  readonly height: number
}

/**
 * A file as a photo without anything beside the picture: where and when it was taken, the telephone, thumbnails, comments,
 * colour profiles and whatever hangs behind its end are left out. Which kind it is is told by its bytes alone. The picture
 * is taken over as it is: nothing is unpacked here, so a small file cannot become a large one.
 */
export function barePhoto(file: Uint8Array): Photo | PhotoRefused {
  const bytes = Buffer.from(file.buffer, file.byteOffset, file.byteLength)
  const kind = kindOf(bytes)
  if (kind === undefined) return 'not-a-photo'
  const bare = kind.without(bytes)
  if (typeof bare === 'string') return bare
  const { width, height } = bare
  if (width === 0 || height === 0) return 'damaged'
  if (width > SIDE_MAX || height > SIDE_MAX || width * height > PIXELS_MAX) return 'too-large'
  return { type: kind.type, bytes: bare.bytes }
}

interface Kind {
  readonly type: PhotoType
  readonly without: (bytes: Buffer) => Bare | PhotoRefused
}

function kindOf(bytes: Buffer): Kind | undefined {
  if (bytes.length >= 3 && bytes.readUIntBE(0, 3) === 0xffd8ff) return { type: 'image/jpeg', without: jpegWithout }
  if (bytes.subarray(0, 8).toString('latin1') === '\x89PNG\r\n\x1a\n') return { type: 'image/png', without: pngWithout }
  const isRiff = bytes.subarray(0, 4).toString('latin1') === 'RIFF'
  if (isRiff && bytes.subarray(8, 12).toString('latin1') === 'WEBP') return { type: 'image/webp', without: webpWithout }
  return undefined
}
