import { afterEach, describe, expect, it, vi } from 'vitest'
import { minutes, seconds } from '../../src/time/instant.ts'
import type { Phone } from '../support/bot-api/phone.ts'
import { type NightOptions, spoken, type TelegramNight, telegramNight } from '../support/telegram-night.ts'

const SOON = { timeout: 8_000, interval: 10 }
const isPoll = ({ method }: { method: string }) => method === 'getUpdates'
const isSend = ({ method }: { method: string }) => method === 'sendMessage'

let night: TelegramNight
const begin = async (options: NightOptions = {}): Promise<Phone> => {
  night = await telegramNight(options)
  return night.family()
}
afterEach(() => night.stop())

const hears = async (family: Phone): Promise<void> => {
  const before = spoken(family).length
  family.says('her tube came out')
  await vi.waitFor(() => expect(spoken(family).slice(before).join('\n')).toMatch(/What is in it now/), SOON)
}
const doubts = async () => (await night.bot().runtime.health()).doubts.map(({ what }) => what)
const noticed = () => night.otherPages.map(({ text }) => text).join('\n')

describe('a bot that hears nothing', { timeout: 30_000 }, () => {
  it('whose token is revoked tells the ladder, is in doubt, and ends to be started again', async () => {
    await begin()
    night.api.revoke()
    await night.passUnheard(seconds(30))
    await vi.waitFor(() => expect(night.ended()).toBeGreaterThan(0), SOON)
    expect(noticed()).toMatch(/TELEGRAM LINE DOWN\. Telegram refuses the token/)
    expect(await doubts()).toContain('telegram-silent')
    expect((await night.bot().runtime.health()).ok).toBe(false)
  })

  it('whose messages another program takes tells the ladder within two minutes, and ends', async () => {
    await begin()
    const conflict = {
      code: 409,
      description: 'Conflict: terminated by other getUpdates request; make sure that only one bot instance is running',
    }
    night.api.fail(isPoll, conflict, 1_000)
    await night.passUnheard(minutes(2))
    await vi.waitFor(() => expect(night.ended()).toBe(1), SOON)
    expect(noticed()).toMatch(/Another program takes the messages/)
  })

  it('disturbed for a moment by another program goes on as if nothing had been, and tells nobody', async () => {
    const family = await begin()
    const url = `${night.api.root}/bot${night.api.token}/getUpdates`
    await fetch(url)
    await night.pass(seconds(20))
    await hears(family)
    expect(night.otherPages).toEqual([])
    expect(night.ended()).toBe(0)
  })

  it('whose poll hangs on a dead connection begins another within a minute, and hears', async () => {
    const family = await begin()
    night.api.fail(isPoll, 'silent')
    // The poll under way ends first; the next one is the silent one.
    await night.passUnheard(seconds(26))
    family.says('her tube came out')
    await night.passUnheard(seconds(45))
    await vi.waitFor(() => expect(spoken(family).join('\n')).toMatch(/What is in it now/), SOON)
  })

  it('whose updates wait at the server and never come is noticed: polls end well and bring nothing', async () => {
    const family = await begin()
    night.api.deafen()
    family.says('her tube came out')
    await night.passUnheard(minutes(10))
    await vi.waitFor(() => expect(noticed()).toMatch(/Messages wait at Telegram and do not come here/), SOON)
  })

  it('that cannot reach the server for five minutes tells the ladder, goes on, and hears when it is back', async () => {
    const family = await begin()
    night.api.fail(() => true, 'reset', 100_000)
    await night.passUnheard(minutes(6))
    await vi.waitFor(() => expect(noticed()).toMatch(/has not answered for five minutes/), SOON)
    expect(night.ended()).toBe(0)
    night.api.heal()
    await night.passUnheard(seconds(15))
    await hears(family)
    expect(await doubts()).not.toContain('telegram-silent')
  })
})

describe('what is sent on Telegram', { timeout: 30_000 }, () => {
  it.each([
    ['whose answer is lost', 'lost-reply', 2],
    ['that meets an error of the server', { code: 502, description: 'Bad Gateway' }, 1],
    ['cut off on the way', 'reset', 1],
  ] as const)('%s comes again, and says that it may be a repeat', async (_, fault, copies) => {
    const family = await begin()
    night.api.fail(isSend, fault)
    family.says('her tube came out')
    await vi.waitFor(() => expect(night.api.calls.some(isSend)).toBe(true), SOON)
    await night.rest()
    await night.pass(seconds(25))
    await vi.waitFor(
      () => expect(spoken(family).filter(text => text.includes('What is in it now'))).toHaveLength(copies),
      SOON,
    )
    expect(spoken(family).at(-1)).toMatch(/You may have seen this before/)
    expect(spoken(family).filter(text => /You may have seen this before/.test(text))).toHaveLength(1)
  })

  it.each([
    ['blocked', { code: 403, description: 'Forbidden: bot was blocked by the user' }],
    ['gone', { code: 400, description: 'Bad Request: chat not found' }],
    [
      'moved to another',
      {
        code: 400,
        description: 'Bad Request: group chat was upgraded to a supergroup chat',
        parameters: { migrate_to_chat_id: -100 },
      },
    ],
  ] as const)('to a chat that is %s is given up at once, and a person is paged', async (_, refusal) => {
    const family = await begin()
    const amara = await night.clinician('amara')
    night.api.fail(
      ({ method, sent }) => method === 'sendMessage' && String(sent.chat_id) === String(family.id),
      refusal,
      50,
    )
    const before = spoken(amara).length
    family.says('her tube came out')
    await vi.waitFor(() => expect(spoken(amara).length).toBeGreaterThan(before), SOON)
    expect(spoken(family)).toEqual([])
  })
})

describe('an update that can never be taken', { timeout: 30_000 }, () => {
  it('is laid aside after three tries and told; the family’s next message and other families are heard', async () => {
    const family = await begin()
    night.poison(text => text.includes('poison'))
    family.says('poison')
    const other = night.family()
    await night.passUnheard(seconds(30))
    await vi.waitFor(() => expect(noticed()).toMatch(/COULD NOT BE READ/), SOON)
    await hears(family)
    await hears(other)
    expect(night.api.pending()).toBe(0)
  })
})

describe('the start', { timeout: 30_000 }, () => {
  it('tries again by itself while the server does not answer, and serves other channels meanwhile', async () => {
    night = await telegramNight({ failAtStart: 4 })
    await night.passUnheard(seconds(20))
    await hears(night.family())
    expect(night.ended()).toBe(0)
  })

  it('after almost a day without hearing tells the ladder that messages may be lost', async () => {
    const family = await begin()
    await hears(family)
    await night.restart({ later: minutes(23 * 60 + 5) })
    await vi.waitFor(() => expect(noticed()).toMatch(/nothing was heard for almost a day/), SOON)
  })

  it('after a clean stop brings nothing twice, and goes on in the middle of the talk', async () => {
    const family = await begin()
    await hears(family)
    await night.rest()
    const before = spoken(family).length
    await night.restart()
    await night.rest()
    expect(spoken(family)).toHaveLength(before)
    family.taps('Nothing. It is empty')
    await vi.waitFor(() => expect(spoken(family).at(-1)).toMatch(/Look at your child now/), SOON)
  })
})
