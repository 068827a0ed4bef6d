import { describe, expect, it } from 'vitest'
import { barePhoto } from '../../src/channels/web-photo.ts'
import {
  exif,
  JPEG,
  jpegWith,
  PNG,
  pngChunk,
  pngOf,
  pngWith,
  segment,
  WEBP,
  WEBP_CLEAR,
  webpChunk,
  webpOf,
} from '../support/photo-files.ts'

const left = (file: Buffer): Buffer => {
  const photo = barePhoto(file)
  if (typeof photo === 'string') throw new Error(`refused: ${photo}`)
  return Buffer.from(photo.bytes)
}

describe('a photo of a telephone', () => {
  it.each([
    ['image/jpeg', JPEG],
    ['image/png', PNG],
    ['image/webp', WEBP],
    ['image/webp', WEBP_CLEAR],
  ])('%s with nothing beside the picture stays as it is', (type, file) => {
    expect(barePhoto(file)).toMatchObject({ type })
    expect(left(file).equals(file)).toBe(true)
  })

  it('of JPEG loses place, time, telephone, thumbnails and comments, and what hangs behind its end', () => {
    const file = Buffer.concat([
      jpegWith(exif(1), segment(0xe2, 'ICC_PROFILE'), segment(0xed, 'Photoshop HERE'), segment(0xfe, 'HERE')),
      Buffer.from('HERE ftypmp4'),
    ])
    expect(left(file).equals(JPEG)).toBe(true)
  })

  // Exif 2.3, 4.6.4: orientation is tag 0x0112, 1 to 8. Turned as it was held, the clinician sees it the right way up.
  it('keeps which way up it was held, and nothing else of what Exif said', () => {
    const photo = left(jpegWith(exif(6)))
    expect(photo.length - JPEG.length).toBe(36)
    expect(photo.subarray(2, 4).toString('hex')).toBe('ffe1')
    expect(photo.includes(Buffer.from([0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6]))).toBe(true)
    expect(photo.includes(Buffer.from('HERE'))).toBe(false)
    expect(photo.includes(Buffer.from([0x88, 0x25]))).toBe(false)
    expect(left(photo).equals(photo)).toBe(true)
  })

  it.each([0, 9, 255])('a way up that there is not (%i) is left out', turned => {
    expect(left(jpegWith(exif(turned))).equals(JPEG)).toBe(true)
  })

  it('of PNG loses texts, times, Exif and what follows its end', () => {
    const file = pngWith(pngChunk('tEXt', 'Comment\0HERE'), pngChunk('eXIf', 'II*\0HERE'), pngChunk('tIME', 'HERE123'))
    expect(left(Buffer.concat([file, Buffer.from('HERE<script>')])).equals(PNG)).toBe(true)
  })

  it('of WebP loses Exif, XMP and profiles', () => {
    const header = Buffer.from([0x2c, 0, 0, 0, 11, 0, 0, 7, 0, 0]).toString('latin1')
    const file = webpOf(
      webpChunk('VP8X', header),
      webpChunk('ICCP', 'HERE'),
      WEBP.subarray(12),
      webpChunk('EXIF', 'HERE'),
      webpChunk('XMP ', 'HERE'),
    )
    expect(left(file).equals(WEBP)).toBe(true)
  })
})

describe('what is refused', () => {
  const svg = '<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'

  it.each([
    ['nothing', Buffer.alloc(0)],
    ['an SVG', Buffer.from(svg)],
    ['a page', Buffer.from('<!doctype html><script>alert(1)</script>')],
    ['a PDF', Buffer.from('%PDF-1.7')],
    ['a GIF', Buffer.from('GIF89a\x0c\0\x08\0', 'latin1')],
    ['a HEIC', Buffer.from('\0\0\0\x18ftypheic\0\0\0\0mif1', 'latin1')],
    ['a ZIP', Buffer.from('PK\x03\x04', 'latin1')],
    ['a RIFF that is sound', Buffer.from('RIFF\x24\0\0\0WAVEfmt ', 'latin1')],
    ['an animation', webpOf(webpChunk('VP8X', Buffer.from([2, 0, 0, 0, 11, 0, 0, 7, 0, 0]).toString('latin1')))],
  ])('%s is no photo, whatever it calls itself', (_what, file) => expect(barePhoto(file)).toBe('not-a-photo'))

  it.each([
    ['JPEG', JPEG],
    ['PNG', PNG],
    ['WebP', WEBP],
    ['WebP with transparency', WEBP_CLEAR],
  ])('a %s cut short anywhere is refused, and never throws', (_what, file) => {
    for (let length = 0; length < file.length; length += 1)
      expect(typeof barePhoto(file.subarray(0, length)), `cut at ${length}`).toBe('string')
  })

  it.each([
    ['a page behind the first bytes of a JPEG', Buffer.concat([Buffer.from([0xff, 0xd8, 0xff]), Buffer.from(svg)])],
    ['a JPEG without a picture', Buffer.concat([JPEG.subarray(0, 2), Buffer.from([0xff, 0xd9])])],
    [
      'a JPEG with a segment longer than the file',
      Buffer.concat([JPEG.subarray(0, 2), Buffer.from([0xff, 0xe1, 0xff, 0xff, 0])]),
    ],
    ['a JPEG with two frames', jpegWith(segment(0xc0, '\x08\0\x08\0\x0c\x01\x01\x11\0'))],
    ['a PNG with a wrong check sum', Buffer.concat([PNG.subarray(0, 20), Buffer.from([1]), PNG.subarray(21)])],
    ['a PNG with a chunk that cannot be left out', pngWith(pngChunk('EvIl', 'x'))],
    [
      'a PNG whose chunk is longer than the file',
      Buffer.concat([PNG.subarray(0, 33), Buffer.from([0x7f, 0xff, 0xff, 0xff]), PNG.subarray(37)]),
    ],
    ['a PNG without width', pngOf(0, 8)],
    [
      'a WebP whose header tells another size than its picture',
      webpOf(webpChunk('VP8X', Buffer.from([0, 0, 0, 0, 99, 0, 0, 7, 0, 0]).toString('latin1')), WEBP.subarray(12)),
    ],
  ])('%s is damaged', (_what, file) => expect(barePhoto(file)).toBe('damaged'))

  it.each([
    [16_384, 1],
    [1, 16_384],
    [8_000, 8_000],
    [0x7fff_ffff, 0x7fff_ffff],
  ])('a small file that unpacks to %i by %i pixels is too large', (width, height) => {
    expect(pngOf(width, height).length).toBeLessThan(200)
    expect(barePhoto(pngOf(width, height))).toBe('too-large')
  })

  it('the largest that is taken: 7,071 by 7,071', () =>
    expect(barePhoto(pngOf(7_071, 7_071))).toMatchObject({ type: 'image/png' }))

  it('any byte changed gives a photo or a refusal, and never throws', () => {
    for (const file of [JPEG, PNG, WEBP, WEBP_CLEAR])
      for (let at = 0; at < file.length; at += 1)
        for (const value of [0x00, 0x7f, 0xff]) {
          const changed = Buffer.from(file)
          changed[at] = value
          expect(['string', 'object']).toContain(typeof barePhoto(changed))
        }
  })
})
