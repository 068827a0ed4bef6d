import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { minutes } from '../../src/time/instant.ts'
import type { Phone } from '../support/bot-api/phone.ts'
import { saidTo, spoken, type TelegramNight, telegramNight } from '../support/telegram-night.ts'

const NUMBERS = /Emergency: 911.*\+1 212 555 0110/s
const SOON = { timeout: 8_000, interval: 10 }

let night: TelegramNight
let amara: Phone

const last = (phone: Phone): string => spoken(phone).at(-1) ?? ''
/** Waits for something new that matches. */
async function next(phone: Phone, words: RegExp, act: () => void): Promise<string> {
  const before = spoken(phone).length
  act()
  await vi.waitFor(() => {
    expect(spoken(phone).length).toBeGreaterThan(before)
    expect(spoken(phone).slice(before).join('\n')).toMatch(words)
  }, SOON)
  return spoken(phone).slice(before).join('\n')
}
const says = (phone: Phone, text: string, words = /./): Promise<string> => next(phone, words, () => phone.says(text))
const taps = (phone: Phone, label: string, words = /./): Promise<string> => next(phone, words, () => phone.taps(label))
const labels = (phone: Phone): string[] => (saidTo(phone).at(-1)?.buttons ?? []).flat().map(({ text }) => text)
/** A family that has been asked what is in the opening. */
async function asked(): Promise<Phone> {
  const phone = night.family()
  await says(phone, 'her tube came out', /What is in it now/)
  return phone
}

describe.each(['polling', 'webhook'] as const)(
  'the tube is out at night, on Telegram by %s',
  { timeout: 60_000 },
  updates => {
    beforeAll(async () => {
      night = await telegramNight({ updates })
      amara = await night.clinician('amara')
    }, 60_000)
    afterAll(() => night.stop())

    it('a scripted family gets holding advice first, is led by buttons to hospital with a time to leave by, and a clinician takes it', async () => {
      const family = night.family()
      const first = await says(family, 'her tube came out 20 minutes ago', /What is in it now/)
      expect(first.indexOf('Cover it')).toBeLessThan(first.indexOf('What is in it now'))
      expect(first).toMatch(/Telegram's company and anybody who holds this phone can read this chat/)
      expect(first).toMatch(NUMBERS)
      await taps(family, 'Nothing. It is empty', /Look at your child now/)
      await taps(family, 'None of these')
      for (
        let count = 0;
        count < 12 &&
        !spoken(family)
          .join('\n')
          .match(/Leave for .* by/);
        count += 1
      )
        await plainly(family)
      expect(spoken(family).join('\n')).toMatch(
        /Leave for Harbour Point Children's Hospital by 2:\d\d am at the latest/,
      )
      await vi.waitFor(() => expect(spoken(amara).join('\n')).toMatch(/^GO TO HOSPITAL/m), SOON)
      const taken = await taps(amara, 'Ringing now', /You have case \d{4}/)
      expect(taken).toContain('The family was told')
      await vi.waitFor(
        () => expect(spoken(family).join('\n')).toMatch(/Amara Osei, feeding nurse, has taken this on/),
        SOON,
      )
      const [pictures, words] = [true, false].map(one => saidTo(family).filter(({ photo }) => photo === one))
      expect((words ?? []).filter(({ text }) => !NUMBERS.test(text))).toEqual([])
      expect((pictures ?? []).map(({ text }) => text)).toEqual([
        expect.stringMatching(/^1\. Flat button.*\n2\. Long tube/),
      ])
      expect(spoken(family).filter(text => text.includes('A machine of'))).toHaveLength(1)
      expect(night.api.faults).toEqual([])
    })
  },
)

/** A plain answer to what is asked: nothing is wrong, and no time is lost. */
async function plainly(phone: Phone): Promise<void> {
  const question = last(phone)
  if (/number can a clinician ring/.test(question)) return void (await says(phone, '202 555 0142'))
  if (/very first/i.test(question)) return void (await says(phone, '6 weeks ago'))
  const options = labels(phone)
  const chosen = options.find(label => /^(none|no\b|nothing|up to)/i.test(label)) ?? options[0]
  await (chosen === undefined ? says(phone, 'not sure') : taps(phone, chosen))
}

describe('what a family does on Telegram', { timeout: 30_000 }, () => {
  beforeAll(async () => {
    night = await telegramNight()
    amara = await night.clinician('amara')
  }, 60_000)
  afterAll(() => night.stop())

  it('/start shows what to do now, the numbers, who can read it and what it may be about; no case is opened', async () => {
    const family = night.family()
    const welcome = await says(family, '/start')
    expect(welcome).toMatch(/If the tube came out, do this now:\n.*Cover it/s)
    expect(welcome).toMatch(/Telegram's company/)
    expect(welcome).toMatch(NUMBERS)
    expect(labels(family)).toContain('español')
    await night.pass(minutes(30))
    expect(spoken(family)).toHaveLength(1)
    await taps(family, labels(family)[0] ?? '', /What is in it now/)
  })

  it('a link of the clinic opens it in the language and the trouble it names; an unknown one is the plain start', async () => {
    expect(await says(night.family(), '/start es_tube-out', /[¿áéíóú]/)).toMatch(/¿/)
    expect(await says(night.family(), '/start es')).toMatch(/[áéíóú]/)
    expect(await says(night.family(), '/start no such thing')).toMatch(/If the tube came out, do this now/)
    expect(await says(night.family(), '/start k_aaaaaaaaaaaaaaaaaaaaaa')).toMatch(
      /This code was used, is too old, or is none/,
    )
  })

  it('a pressed button stays to be read; pressed again it says that this was answered, and asks what is open', async () => {
    const family = await asked()
    const question = saidTo(family).at(-1)
    const data = question?.buttons.flat().find(({ text }) => text === 'Nothing. It is empty')
    await taps(family, 'Nothing. It is empty', /Look at your child now/)
    await vi.waitFor(() => expect(question?.buttons).toEqual([[{ ...data, text: '✓ Nothing. It is empty' }]]), SOON)
    expect(await taps(family, '✓ Nothing. It is empty')).toMatch(/Look at your child now/)
  })

  it('data of a button names no answer, and fits 64 bytes', async () => {
    const family = await asked()
    const data: string[] = family.shown
      .flatMap(({ buttons }) => buttons.flat())
      .flatMap(button => ('callback_data' in button ? [button.callback_data] : []))
    expect(data.length).toBeGreaterThan(3)
    for (const one of data) expect(one).toMatch(/^[a-z]\.[\w.-]{1,61}$/)
    expect(data.join()).not.toMatch(/empty|tube|sure/)
  })

  it.each(['a.1.AAAAAAAAAAA', 'a.999.x', 'd.1.x', 't.1.1.x', 'c.x', '', 'a.1e9.x', 'z'.repeat(64), 'a.1.🩸'])(
    'a press with "%s", which no button of the chat has, decides nothing: the question is asked again',
    async data => {
      const family = await asked()
      expect(await next(family, /What is in it now/, () => family.press(data))).toMatch(NUMBERS)
    },
  )

  it('a button of another family’s chat answers nothing here', async () => {
    const [one, other] = [await asked(), await asked()]
    const button = one.find('Nothing. It is empty')?.buttons.flat()[0]
    const data = button !== undefined && 'callback_data' in button ? button.callback_data : ''
    await next(other, /What is in it now/, () => other.press(data))
  })

  it('danger pressed late, on a question answered long ago, is danger', async () => {
    const family = await asked()
    await taps(family, 'Nothing. It is empty', /Look at your child now/)
    const danger = saidTo(family).at(-1)?.buttons.flat()[0]
    await taps(family, 'None of these')
    const data = danger !== undefined && 'callback_data' in danger ? danger.callback_data : ''
    await next(family, /Ring 911 now/, () => family.press(data))
  })

  it.each([
    ['a voice message', { voice: {} }],
    ['a sticker', { sticker: {} }],
    ['a photo', { photo: [] }],
    ['a place', { location: { latitude: 1, longitude: 1 } }],
    ['a file', { document: {} }],
  ] as const)('%s is answered with what to do instead, and the question stays open', async (_, what) => {
    const family = await asked()
    const told = await next(family, /cannot see or hear that/, () => family.sends(what as never))
    expect(told).toMatch(/What is in it now/)
  })

  it('a place is answered, while the drive is asked for, with how to say it instead', async () => {
    const family = await asked()
    await taps(family, 'Nothing. It is empty', /Look at your child now/)
    await taps(family, 'None of these', /Which of these/)
    await taps(family, 'Long tube, held by a balloon', /come out/)
    await taps(family, 'Up to half an hour ago', /How long does it take/)
    const place = { location: { latitude: 1, longitude: 1 } }
    const told = await next(family, /cannot see a place on a map/, () => family.sends(place as never))
    expect(told).toMatch(/How long does it take/)
    await next(family, /What number/, () => family.says('25 minutes'))
  })

  it.each([
    [
      'a changed message',
      (phone: Phone): void => phone.edits(101, 'nothing, it is empty'),
      /changed afterwards is not read again/,
    ],
    [
      'a forwarded message',
      (phone: Phone): void =>
        void phone.says('nothing, it is empty', {
          forward_origin: { type: 'hidden_user', sender_user_name: 'x', date: 1 },
        }),
      /forwarded message is not taken/,
    ],
    [
      'words under a picture',
      (phone: Phone): void => phone.sends({ photo: [], caption: 'nothing, it is empty' } as never),
      /cannot see or hear that/,
    ],
  ] as const)('%s is no answer, and says so; danger in it is heard', async (what, act, words) => {
    const family = await asked()
    const told = await next(family, words, () => act(family))
    expect(told).toMatch(/What is in it now/)
    const danger = 'her lips are blue'
    await next(family, /Ring 911 now/, () => {
      if (what === 'a changed message') family.edits(102, danger)
      else if (what === 'a forwarded message')
        family.says(danger, { forward_origin: { type: 'hidden_user', sender_user_name: 'x', date: 1 } })
      else family.sends({ photo: [], caption: danger } as never)
    })
  })

  it('asked for a number, one press shares the telephone’s own; an option under the box answers too', async () => {
    for (const how of ['share', 'write-only'] as const) {
      const family = night.family()
      await says(family, 'her lips are blue', /What number can a clinician ring you on/)
      const keys = family.shown.findLast(one => one.keys.length > 0)?.keys ?? []
      expect(keys[0]).toBe('Share my number')
      const before = last(family)
      await next(family, /./, () =>
        how === 'share'
          ? family.sends({ contact: { phone_number: '12025550142', first_name: 'x' } })
          : void family.says(keys.at(-1) ?? ''),
      )
      expect(last(family)).not.toBe(before)
      expect(last(family)).not.toMatch(/What number can a clinician ring you on/)
    }
  })

  it('a group is refused in words, with the numbers, and left; a word written there is no family’s', async () => {
    const group = night.api.group(-500)
    const told = await next(group, /others could read/, () => group.says('her tube is out'))
    expect(told).toMatch(/911/)
    await vi.waitFor(() => expect(night.api.leftChats).toContain(-500), SOON)
  })

  it('one live message a case, pinned and silent: edited as the case goes on, never sent twice', async () => {
    const family = await asked()
    await vi.waitFor(() => expect(family.pinned).toHaveLength(1), SOON)
    const live = family.shown.find(({ id }) => id === family.pinned[0])
    expect(live?.text).toMatch(/Your case code: \w+ \d{4}/)
    expect(live?.silent).toBe(true)
    await says(family, 'I want to talk to a person', /person has been asked/i)
    await vi.waitFor(() => expect(live?.text).toMatch(/A clinician was paged/), SOON)
    const [code] = /\d{4}/.exec(live?.text ?? '') ?? ['none']
    await vi.waitFor(() => expect(spoken(amara).at(-1)).toContain(code), SOON)
    await taps(amara, 'Ringing in 15 min', /You have case/)
    await vi.waitFor(
      () => expect(live?.text).toMatch(/Amara Osei has this on.*by 2:\d\d am|Amara Osei has this on/),
      SOON,
    )
    await taps(family, 'Talk to a person')
    expect(family.pinned).toHaveLength(1)
  })

  it('an answer is changed from the live message, and the desk’s words are one press away', async () => {
    const family = await asked()
    await taps(family, 'Nothing. It is empty', /Look at your child now/)
    await vi.waitFor(() => expect(family.find('Change an answer')).toBeDefined(), SOON)
    await taps(family, 'Change an answer', /Which answer do you want to change/)
    const [first] = labels(family)
    await taps(family, first ?? '', /What is in it now/)
    await says(family, '/desk', /My child has a feeding tube|tube/)
    await says(family, '/language', /Language/)
    await taps(family, 'español', /¿/)
  })

  it('what was delivered twice counts once: the poll’s answer is lost after the message was handed over', async () => {
    const family = await asked()
    night.api.fail(({ method }) => method === 'getUpdates', 'lost-reply')
    const before = spoken(family).length
    family.says('nothing, the hole is empty')
    await vi.waitFor(() => expect(last(family)).toMatch(/Look at your child now/), SOON)
    await night.pass(minutes(1))
    expect(
      spoken(family)
        .slice(before)
        .filter(text => /Look at your child now/.test(text)),
    ).toHaveLength(1)
  })

  it('whoever blocks the bot is not lost from sight: a person is paged, and told that messages do not reach them', async () => {
    const family = await asked()
    await night.rest()
    const before = spoken(amara).length
    family.blocks()
    await vi.waitFor(() => expect(spoken(amara).length).toBeGreaterThan(before), SOON)
  })

  it('nothing that was sent breaks a published limit, and neither token nor chat stands in the log', async () => {
    await night.rest()
    expect(night.api.faults).toEqual([])
    const logged = JSON.stringify(night.log)
    expect(logged).not.toContain(night.api.token)
    expect(logged).not.toMatch(/900\d\d/)
  })
})
