import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { readClinic } from '../../src/config/clinic-file.ts'
import { instant } from '../../src/time/instant.ts'
import { wholeClinicText } from '../support/whole-clinic.ts'

const at = instant(Date.parse('2026-03-01T07:10:00Z'))
const demonstration = readFileSync(join(DEMO_CLINIC, 'clinic.yaml'), 'utf8')
const read = (clinic: string, hospital: string) => {
  const { signIn, problems } = readClinic('clinic.yaml', `${clinic}\nsign-in:\n  hospital: ${hospital}\n`, at)
  return {
    signIn,
    problems: problems
      .filter(({ line }) => line > clinic.split('\n').length)
      .map(({ code, found }) => `${code} ${found}`),
  }
}
const given = (issuer: string, more = '') =>
  `{ name: Harbour Point, issuer: "${issuer}", client-id: smallhours${more} }`

describe('the hospital’s sign-in in the clinic’s file', () => {
  it('is read whole; left out, there is none', () => {
    expect(read(demonstration, given('https://id.hospital.example', ', secret-file: sign-in-secret'))).toEqual({
      signIn: {
        name: 'Harbour Point',
        issuer: 'https://id.hospital.example',
        clientId: 'smallhours',
        secretFile: 'sign-in-secret',
      },
      problems: [],
    })
    expect(readClinic('clinic.yaml', demonstration, at).signIn).toBeUndefined()
  })

  it('is https; plain http to this machine in a demonstration alone', () => {
    expect(read(demonstration, given('http://localhost:9000')).problems).toEqual([])
    expect(read(demonstration, given('http://id.hospital.example')).problems).toEqual([
      'WRONG_VALUE "http://id.hospital.example"',
    ])
    for (const issuer of ['http://localhost:9000', 'http://id.hospital.org'])
      expect(read(wholeClinicText(), given(issuer)).problems).toEqual([`WRONG_VALUE "${issuer}"`])
    expect(read(wholeClinicText(), given('https://id.hospital.example')).problems).toEqual([
      'ADDRESS_FICTION "https://id.hospital.example"',
    ])
  })

  it.each([
    ['{ name: Harbour Point }', /^MISSING/],
    [given('id.hospital.example'), /^WRONG_VALUE/],
    [given('https://id.hospital.org', ', secret: hunter2hunter2'), /^UNKNOWN_KEY unknown key "secret"/],
  ])('%s is told', (hospital, found) => expect(read(demonstration, hospital).problems.join('\n')).toMatch(found))
})
