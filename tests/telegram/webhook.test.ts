import { describe, expect, it } from 'vitest'
import type { Taken } from '../../src/telegram/take-once.ts'
import { taking } from '../../src/telegram/take-once.ts'
import { WEBHOOK_PATH, webhookDoor } from '../../src/telegram/webhook.ts'

const SECRET = 'a-secret_of-the-test'
const UPDATE = {
  update_id: 7,
  message: { message_id: 1, date: 1, chat: { id: 1, type: 'private', first_name: 'x' }, text: 'hi' },
}

function door(taken: Taken = 'taken') {
  const took: number[] = []
  const made = webhookDoor({
    secret: SECRET,
    heard: () => undefined,
    take: async update => {
      took.push(update.update_id)
      return taken
    },
  })
  const ask = (init: RequestInit & { duplex?: string } = {}, secret: string | undefined = SECRET) =>
    made.fetch(
      new Request(`https://feeding.example${WEBHOOK_PATH}`, {
        method: 'POST',
        body: JSON.stringify(UPDATE),
        ...init,
        headers: { ...(secret === undefined ? {} : { 'X-Telegram-Bot-Api-Secret-Token': secret }) },
      }),
    )
  return { took, ask }
}

// Status codes as Telegram's server reads them: 2xx confirms, anything else brings the update again (Bot API, setWebhook).
describe('the door for updates', () => {
  it('takes an update with the right secret, and answers 200 once it is taken', async () => {
    const { took, ask } = door()
    expect((await ask()).status).toBe(200)
    expect(took).toEqual([7])
  })

  it.each([undefined, '', 'wrong', `${SECRET}x`, SECRET.slice(0, -1), SECRET.toUpperCase()])(
    'turns away the secret %s, and reads nothing',
    async secret => {
      const { took, ask } = door()
      const answer = await ask({}, secret ?? 'none')
      expect(answer.status).toBe(401)
      expect(await answer.text()).toBe('')
      expect(took).toEqual([])
    },
  )

  it('turns away a request without the header', async () => {
    const made = webhookDoor({ secret: SECRET, heard: () => undefined, take: async () => 'taken' })
    expect((await made.fetch(new Request('https://x.example/', { method: 'POST', body: '{}' }))).status).toBe(401)
  })

  it.each([
    ['no JSON', 'not json', 400],
    ['JSON that is no update', '[]', 400],
    ['an update without its number', '{"message":{}}', 400],
    ['a number that is none', '{"update_id":"7"}', 400],
    ['nothing', '', 400],
    ['more than any update has', `{"update_id":7,"x":"${'x'.repeat(300_000)}"}`, 413],
  ])('answers %s with a code, and takes nothing', async (_, body, status) => {
    const { took, ask } = door()
    expect((await ask({ body })).status).toBe(status)
    expect(took).toEqual([])
  })

  it('asks for an update again that could not be kept, and says when', async () => {
    const answer = await door({ againAfterMs: 1_500 }).ask()
    expect(answer.status).toBe(503)
    expect(answer.headers.get('retry-after')).toBe('2')
  })

  it('confirms one that was laid aside: it would never be taken', async () => {
    expect((await door('parked').ask()).status).toBe(200)
  })
})

describe('taking an update', () => {
  const failing = (name = 'Error', isStoreWell = true) => {
    const parked: number[] = []
    const take = taking({
      take: async () => {
        throw Object.assign(new Error('x'), { name, retryAfterSeconds: 2 })
      },
      park: async update => void parked.push(update.update_id),
      isStoreWell: async () => isStoreWell,
    })
    return { parked, take: () => take(UPDATE as never) }
  }

  it('lays it aside at the third failure', async () => {
    const { parked, take } = failing()
    expect(await take()).toEqual({ againAfterMs: 2_000 })
    expect(await take()).toEqual({ againAfterMs: 2_000 })
    expect(await take()).toBe('parked')
    expect(parked).toEqual([7])
  })

  it.each([
    ['the store fails', 'NotStored', false],
    ['the front door is full', 'Busy', true],
  ])('never lays it aside while %s: nothing is wrong with it', async (_, name, isStoreWell) => {
    const { parked, take } = failing(name, isStoreWell)
    for (let count = 0; count < 10; count += 1) expect(await take()).toEqual({ againAfterMs: 2_000 })
    expect(parked).toEqual([])
  })

  it('that cannot be laid aside either comes again', async () => {
    const take = taking({
      take: () => Promise.reject(new Error('x')),
      park: () => Promise.reject(new Error('disk')),
      isStoreWell: async () => true,
    })
    for (let count = 0; count < 4; count += 1) await take(UPDATE as never)
    expect(await take(UPDATE as never)).toEqual({ againAfterMs: 5_000 })
  })
})
