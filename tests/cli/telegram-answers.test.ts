import { afterAll, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest'
import { minutes } from '../../src/time/instant.ts'
import type { Phone } from '../support/bot-api/phone.ts'
import { spoken, type TelegramNight, telegramNight } from '../support/telegram-night.ts'

const SOON = { timeout: 8_000, interval: 10 }

let night: TelegramNight
let amara: Phone
let ingrid: Phone
let family: Phone
let code = ''

beforeAll(async () => {
  night = await telegramNight()
  amara = await night.clinician('amara')
  ingrid = await night.clinician('ingrid')
}, 60_000)
afterAll(() => night.stop())

const newest = (phone: Phone) => spoken(phone).at(-1) ?? ''
async function next(phone: Phone, act: () => unknown): Promise<string> {
  const before = spoken(phone).length
  act()
  await vi.waitFor(() => expect(spoken(phone).length).toBeGreaterThan(before), SOON)
  return newest(phone)
}
/** The page of the case on a person's telephone. */
const pageOn = (phone: Phone) =>
  phone.shown.findLast(({ text, buttons }) => text.includes(code) && buttons.length === 4)
const press = (phone: Phone, index: number): string => {
  const button = pageOn(phone)?.buttons.flat()[index]
  if (button === undefined || !('callback_data' in button)) throw new Error(`no button ${index}: ${newest(phone)}`)
  return phone.press(button.callback_data, pageOn(phone)?.id)
}
const RINGING_NOW = 0
const RINGING_SOON = 1
const GO_IN = 2
const PASS_ON = 3

describe('a page on Telegram', { timeout: 30_000 }, () => {
  beforeEach(async () => {
    family = night.family()
    const before = spoken(amara).length
    family.says('her tube is out and her lips are blue')
    await vi.waitFor(() => expect(spoken(amara).length).toBeGreaterThan(before), SOON)
    await vi.waitFor(() => expect(family.pinned).toHaveLength(1), SOON)
    code = /\d{4}/.exec(family.shown.find(({ id }) => id === family.pinned[0])?.text ?? '')?.[0] ?? ''
    await vi.waitFor(() => expect(pageOn(amara)).toBeDefined(), SOON)
  })

  it('says how urgent it is first, holds no name, and says what its choices do', () => {
    const page = pageOn(amara)
    expect(page?.text.slice(0, 60)).toMatch(/^AMBULANCE, told/)
    expect(page?.text).toMatch(/Press an answer: the family is told at once/)
    expect(page?.buttons.flat().map(({ text }) => text)).toEqual([
      'Ringing now', 'Ringing in 15 min', 'Go in, I will tell the hospital', 'I cannot, pass on',
    ]) // biome-ignore format: one list
  })

  it('is taken by one press: the family hears who has it; pressed again, or on a second device, it is taken once', async () => {
    const told = await next(amara, () => press(amara, RINGING_NOW))
    expect(told).toContain(`You have case ${code}`)
    await vi.waitFor(
      () => expect(spoken(family).join('\n')).toContain('Amara Osei, feeding nurse, has taken this on'),
      SOON,
    )
    const before = spoken(family).length
    expect(await next(amara, () => press(amara, RINGING_NOW))).toContain(`You have case ${code}`)
    await night.rest()
    expect(spoken(family).slice(before).join('\n')).not.toContain('has taken this on')
  })

  it('promises a call within a quarter of an hour, or sends them in', async () => {
    await next(amara, () => press(amara, RINGING_SOON))
    await vi.waitFor(() => expect(spoken(family).join('\n')).toMatch(/I will ring you by 2:\d\d am/), SOON)
    await next(amara, () => press(amara, GO_IN))
    await vi.waitFor(() => expect(spoken(family).join('\n')).toMatch(/Go in\. I will tell the hospital/), SOON)
  })

  it('passed on reaches the next person; two who press at once: one has it, the other reads who', async () => {
    expect(await next(amara, () => press(amara, PASS_ON))).toContain('is passed on')
    await vi.waitFor(() => expect(pageOn(ingrid)).toBeDefined(), SOON)
    const [before, others] = [spoken(amara).length, spoken(ingrid).length]
    press(amara, RINGING_NOW)
    press(ingrid, RINGING_NOW)
    await vi.waitFor(() => expect(spoken(amara).length).toBeGreaterThan(before), SOON)
    await vi.waitFor(() => expect(spoken(ingrid).length).toBeGreaterThan(others), SOON)
    await night.rest()
    const words = [...spoken(amara).slice(before), ...spoken(ingrid).slice(others)].join('\n')
    expect(words.match(new RegExp(`You have case ${code}`, 'g'))).toHaveLength(1)
    expect(words.match(new RegExp(`has case ${code} since 2:\\d\\d am`, 'g'))).toHaveLength(1)
  })

  it('answered by a reply sends the words to that family, signed, and says so; they stand in the record', async () => {
    const page = pageOn(amara)
    const reply = {
      reply_to_message: { message_id: page?.id, reply_markup: { inline_keyboard: page?.buttons } },
    } as never
    expect(await next(amara, () => amara.says('Is she pink now?', reply))).toBe(`Sent to the family of case ${code}.`)
    await vi.waitFor(() => expect(newest(family)).toMatch(/Amara Osei, feeding nurse:\n"Is she pink now\?"/), SOON)
    const ref = { channel: 'telegram', chat: String(family.id) }
    const record = await night.bot().runtime.logOf(ref)
    expect(record.some(({ speaker }) => speaker.kind === 'clinician' && speaker.name === 'Amara Osei')).toBe(true)
  })

  it('written to without a reply goes nowhere while several families could be meant', async () => {
    const before = spoken(family).length
    expect(await next(amara, () => amara.says('Is she pink now?'))).toMatch(/^Not sent\. Reply to the page/)
    await night.rest()
    expect(spoken(family).slice(before).join('\n')).not.toContain('pink')
  })

  it.each([
    ['a voice message', () => amara.sends({ voice: {} } as never)],
    ['a photo with words', () => amara.sends({ photo: [], caption: 'give her water' } as never)],
    ['a changed message', () => amara.edits(101, 'give her water')],
    [
      'a forwarded message',
      () => amara.says('give her water', { forward_origin: { type: 'hidden_user', sender_user_name: 'x', date: 1 } }),
    ],
    ['a telephone number', () => amara.sends({ contact: { phone_number: '1', first_name: 'x' } } as never)],
  ] as const)('%s of a clinician is sent to no family', async (_, act) => {
    const before = spoken(family).length
    expect(await next(amara, act)).toMatch(/^Not sent\. Only words that you write yourself/)
    await night.rest()
    expect(spoken(family).slice(before).join('\n')).not.toContain('water')
  })

  it('is answered by nobody it was not made for: another’s button does nothing, and says so', async () => {
    const button = pageOn(amara)?.buttons.flat()[0]
    const data = button !== undefined && 'callback_data' in button ? button.callback_data : ''
    expect(Buffer.byteLength(data)).toBeLessThanOrEqual(64)
    expect(await next(ingrid, () => ingrid.press(data))).toMatch(/Nothing was done/)
    const stranger = night.family()
    await next(stranger, () => stranger.press(data))
    await night.rest()
    expect(spoken(family).join('\n')).not.toContain('has taken this on')
  })

  it('goes out while the family’s own chat has been told to slow down for five minutes', async () => {
    const other = night.family()
    night.api.fail(({ method, sent }) => method === 'sendMessage' && String(sent.chat_id) === String(other.id), {
      code: 429,
      description: 'Too Many Requests: retry after 300',
      parameters: { retry_after: 300 },
    })
    const before = spoken(amara).length
    other.says('his tube is out and he is floppy')
    await vi.waitFor(() => expect(spoken(amara).length).toBeGreaterThan(before), SOON)
    expect(spoken(other)).toEqual([])
    const calls = night.api.calls.filter(({ sent }) => String(sent.chat_id) === String(other.id)).length
    await night.pass(minutes(2))
    expect(night.api.calls.filter(({ sent }) => String(sent.chat_id) === String(other.id))).toHaveLength(calls)
    await night.pass(minutes(4))
    await vi.waitFor(() => expect(spoken(other).join('\n')).toContain('911'), SOON)
  })
})

describe('an account of a clinician', { timeout: 30_000 }, () => {
  it('is linked by a code once: whoever uses it after is told that it is used, and gets no page', async () => {
    const tomas = await night.clinician('amara')
    const used = tomas.shown.length
    const thief = night.family()
    // The same words as the first time: the stand-in kept what was sent to it.
    const again = night.codeOfLast()
    thief.says(`/start ${again}`)
    await vi.waitFor(() => expect(newest(thief)).toMatch(/This code was used, is too old, or is none/), SOON)
    tomas.says(`/start ${again}`)
    await vi.waitFor(() => expect(tomas.shown.length).toBeGreaterThan(used), SOON)
    expect(newest(tomas)).toMatch(/this account now gets your pages/)
  })

  it('is told, whatever it writes at first, that nobody reads it about a child of its own', async () => {
    expect(await next(ingrid, () => ingrid.says('/start'))).toMatch(
      /Nobody reads what you write here about a child of your own/,
    )
  })
})

describe('somebody paged by Telegram who has linked no account', { timeout: 30_000 }, () => {
  it('is passed over at once: the next person is paged within a minute', async () => {
    const other = await telegramNight()
    try {
      const second = await other.clinician('ingrid')
      other.family().says('her tube is out and her lips are blue')
      await other.pass(minutes(6))
      await vi.waitFor(() => expect(spoken(second).join('\n')).toMatch(/AMBULANCE/), SOON)
    } finally {
      await other.stop()
    }
  })
})
