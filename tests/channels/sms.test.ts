import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { minutes } from '../../src/time/instant.ts'
import { type SmsNight, smsNight } from '../support/sms-night.ts'

const FAMILY = '+12125550177'
const AMARA = '+12125550141'
const NUMBERS = /Emergency: 911.*\+1 212 555 0110/s

let night: SmsNight
beforeEach(async () => {
  night = await smsNight({ takesFamilies: true })
})
afterEach(() => night.stop())

describe('a family by text message', { timeout: 30_000 }, () => {
  it('gets holding advice first, who answers, one question with numbers to type, and whom to ring', async () => {
    const first = await night.answers(FAMILY, 'her tube came out')
    expect(first.indexOf('Cover')).toBeGreaterThanOrEqual(0)
    expect(first).toMatch(/\n\? .+\n.*1\) /s)
    expect(first).toContain('A machine of Harbour Lights feeding clinic answers here')
    expect(first).toMatch(NUMBERS)
    const second = await night.answers(FAMILY, '1')
    expect(second).not.toContain('A machine of')
    expect(second).toMatch(NUMBERS)
  })

  it('answers by the numbers shown or in its own words, and comes to hospital with a clinician paged', async () => {
    await night.answers(FAMILY, 'her tube came out 20 minutes ago, nothing is in the hole')
    for (let count = 0; count < 6; count++) await night.answers(FAMILY, replyTo(night.textsTo(FAMILY).at(-1) ?? ''))
    expect(night.textsTo(FAMILY).join('\n')).toMatch(
      /Leave for Harbour Point Children's Hospital by 2:\d\d am at the latest/,
    )
    await vi.waitFor(() => expect(night.textsTo(AMARA)).not.toEqual([]))
    expect(night.textsTo(AMARA)[0]).toMatch(/^GO TO HOSPITAL/)
  })

  it('reads what a clinician writes, with name and job', async () => {
    await night.answers(FAMILY, 'her tube is out and her lips are blue')
    await vi.waitFor(() => expect(night.textsTo(AMARA)).not.toEqual([]))
    const code = /text back\. (\d{4})/.exec(night.textsTo(AMARA)[0] ?? '')?.[1]
    await night.answers(AMARA, `${code} 1`)
    await vi.waitFor(() =>
      expect(night.textsTo(FAMILY).at(-1)).toContain('Amara Osei, feeding nurse, has taken this on'),
    )
  })

  it('is heard in another language, and answered in it', async () => {
    expect(await night.answers(FAMILY, 'se le salió la sonda de la barriga')).toMatch(/[¿áéíóú]/)
  })

  it('is chased when it falls silent', async () => {
    await night.answers(FAMILY, 'her tube came out')
    const before = night.textsTo(FAMILY).length
    await night.pass(minutes(12))
    await vi.waitFor(() => expect(night.textsTo(FAMILY).length).toBeGreaterThan(before))
  })

  it('that sends a picture is told what to do instead', async () => {
    await night.answers(FAMILY, 'her tube came out')
    expect(await night.answers(FAMILY, ' ')).toMatch(/words|tap|write/i)
  })

  it('typing a number that no option has is asked again, and nothing is guessed', async () => {
    await night.answers(FAMILY, 'her tube came out')
    const asked = /\n\? (.+)\n/.exec(night.textsTo(FAMILY).at(-1) ?? '')?.[1] ?? ''
    expect(asked).not.toBe('')
    expect(await night.answers(FAMILY, '17')).toContain(asked)
  })
})

/** A plain answer to a question as a telephone shows it: nothing is wrong, and no time is lost. */
function replyTo(text: string): string {
  const question = /\? ([^\n]+)\n/.exec(text)?.[1] ?? ''
  const options = [...text.matchAll(/^#?(\d)\)? (.+)$/gm)].map(([, number = '', label = '']) => ({ number, label }))
  const none = options.find(({ label }) => /^(none|no\b|nothing)/i.test(label))
  if (/very first/i.test(question)) return '6 weeks ago'
  if (/how long/i.test(question)) return '20 minutes'
  const chosen = none ?? options[0]
  return chosen === undefined ? 'no' : text.includes(`#${chosen.number}`) ? `#${chosen.number}` : chosen.number
}
