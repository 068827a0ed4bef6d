import { describe, expect, test } from 'vitest'
import type { Photo } from '../../src/channels/web-photo.ts'
import { PHOTO_BYTES_MAX } from '../../src/channels/web-photo.ts'
import { webchat } from '../../src/channels/webchat/webchat.ts'
import { exif, JPEG, jpegWith, pngOf } from '../support/photo-files.ts'
import { webFamily } from '../support/web-family.ts'
import { ORIGIN, visitor } from '../support/web-visitor.ts'

/** A family whose chat may send photos; `left` of them. */
async function open(left: number) {
  const kept: Photo[] = []
  const family = webFamily({
    keepPhoto: async (_chat, photo) => `id-${kept.push(photo)}`,
  })
  const channel = webchat(family.ports)
  const parent = visitor(channel.fetch)
  await parent.get('/')
  await parent.post('/say', { concern: 'tube-out', nonce: 'nonce-nonce-nonce' })
  const chat = family.received[0]?.chat ?? ''
  family.setLog(chat, { photosLeft: left })
  const post = async (form: FormData | string, headers: Record<string, string> = {}) =>
    channel.fetch(
      new Request(`${ORIGIN}/photo`, {
        method: 'POST',
        body: form,
        headers: { cookie: parent.cookie, origin: ORIGIN, ...headers },
      }),
    )
  return { family, kept, parent, post }
}

function form(file: Uint8Array, name = 'skin.jpg', type = 'image/jpeg'): FormData {
  const fields = new FormData()
  fields.append('photo', new File([Buffer.from(file)], name, { type }))
  return fields
}

describe('a photo from the web', () => {
  test('is kept without place and time, becomes one message, and leads back to the page', async () => {
    const { family, kept, post } = await open(3)
    const answer = await post(form(jpegWith(exif(1))))
    expect([answer.status, answer.headers.get('location')]).toEqual([303, '/#now'])
    expect(kept.map(({ type, bytes }) => [type, Buffer.from(bytes).equals(JPEG)])).toEqual([['image/jpeg', true]])
    expect(family.calls.at(-1)?.body).toEqual({ kind: 'media', media: 'photo', kept: 'id-1' })
  })

  test('is offered only while one may be sent: a form that works without script', async () => {
    const { parent } = await open(2)
    const markup = await (await parent.get('/')).text()
    expect(markup).toMatch(/<form method="post" action="\/photo" enctype="multipart\/form-data"/)
    expect(markup).toContain('accept="image/jpeg,image/png,image/webp"')
    const none = await open(0)
    expect(await (await none.parent.get('/')).text()).not.toContain('/photo')
  })

  test.each([
    ['none may be sent', 0, form(JPEG), 403],
    ['it is no photo, though it is called one', 3, form(Buffer.from('<svg onload=alert(1)>')), 422],
    ['it is damaged', 3, form(JPEG.subarray(0, 100)), 422],
    ['it unpacks to more pixels than a browser has room for', 3, form(pngOf(16_000, 16_000)), 413],
    ['there is no file', 3, new FormData(), 422],
    ['there are two', 3, twoIn(), 422],
  ])('is refused in words, with the numbers, where %s', async (_why, left, body, status) => {
    const { kept, family, post } = await open(left)
    const before = family.calls.length
    const answer = await post(body)
    const markup = await answer.text()
    expect(answer.status).toBe(status)
    expect(markup).toContain('tel:+12025550123')
    expect(markup).not.toContain('<svg onload')
    expect([kept.length, family.calls.length]).toEqual([0, before])
  })

  test('too large is refused before it is read whole', async () => {
    const { kept, post } = await open(3)
    const answer = await post(form(Buffer.alloc(PHOTO_BYTES_MAX + 1)))
    expect([answer.status, kept.length]).toEqual([413, 0])
  })

  test.each([
    ['text/plain', 'hello'],
    ['multipart/form-data', 'no boundary'],
    ['multipart/form-data; boundary=x', '--x\r\nbroken'],
    ['application/x-www-form-urlencoded', 'photo=abc'],
  ])('a post of type "%s" that is no such form is refused', async (type, body) => {
    const { kept, post } = await open(3)
    expect([(await post(body, { 'content-type': type })).status, kept.length]).toEqual([422, 0])
  })

  test('from another site is refused', async () => {
    const { kept, post } = await open(3)
    expect([(await post(form(JPEG), { origin: 'https://elsewhere.example' })).status, kept.length]).toEqual([403, 0])
  })
})

function twoIn(): FormData {
  const fields = form(JPEG)
  fields.append('photo', new File([Buffer.from(JPEG)], 'b.jpg'))
  return fields
}
