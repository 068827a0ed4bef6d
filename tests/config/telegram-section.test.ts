import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { readClinic } from '../../src/config/clinic-file.ts'
import { instant } from '../../src/time/instant.ts'
import { wholeClinicText } from '../support/whole-clinic.ts'

const at = instant(Date.parse('2026-03-01T07:10:00Z'))
const demonstration = readFileSync(join(DEMO_CLINIC, 'clinic.yaml'), 'utf8')
const HERE = ', server: "http://127.0.0.1:8081"'
const given = (more = '', updates = 'polling', families = 'yes') =>
  `{ token-file: telegram-token, updates: ${updates}, families-may-write: ${families}${more} }`
const read = (clinic: string, section: string) => {
  const { telegram, problems } = readClinic('clinic.yaml', `${clinic}\ntelegram: ${section}\n`, at)
  const own = problems.filter(({ line }) => line > clinic.split('\n').length)
  return { telegram, problems: own.map(({ code }) => code) }
}

describe('the bot on Telegram in the clinic’s file', () => {
  it('is read whole; a clinic’s goes to Telegram’s own server unless it names another', () => {
    const telegram = { tokenFile: 'telegram-token', updates: 'polling', takesFamilies: true }
    expect(read(demonstration, given(HERE))).toEqual({
      telegram: { ...telegram, server: 'http://127.0.0.1:8081' },
      problems: [],
    })
    expect(read(wholeClinicText(), given('', 'webhook', 'no'))).toEqual({
      telegram: { ...telegram, updates: 'webhook', takesFamilies: false, server: 'https://api.telegram.org' },
      problems: [],
    })
  })

  it.each([
    ['a demonstration that would reach Telegram', demonstration, given(), ['ADDRESS_REAL']],
    [
      'a clinic by plain http over the network',
      wholeClinicText(),
      given(', server: "http://bots.hospital.org"'),
      ['WRONG_VALUE'],
    ],
    ['a server that leads nowhere', wholeClinicText(), given(', server: "https://bots.example"'), ['ADDRESS_FICTION']],
    ['a slash at the end', wholeClinicText(), given(', server: "https://bots.hospital.org/"'), ['WRONG_VALUE']],
    ['a way that there is not', demonstration, given(HERE, 'carrier-pigeon'), ['WRONG_VALUE']],
    [
      'a token in the file itself',
      demonstration,
      '{ token: "123:abc", updates: polling, families-may-write: yes }',
      ['MISSING', 'UNKNOWN_KEY'],
    ],
    ['nothing in it', demonstration, '{}', ['MISSING']],
  ])('%s is refused', (_, clinic, section, codes) => {
    const { problems } = read(clinic, section)
    expect([...new Set(problems)].toSorted()).toEqual(codes)
  })
})
