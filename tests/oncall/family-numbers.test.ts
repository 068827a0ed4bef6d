import { describe, expect, it } from 'vitest'
import { familyNumbers, privateStrings } from '../../src/oncall/family-numbers.ts'
import { clinicWith, desk, person } from './clinic-built.ts'

describe('numbers for families', () => {
  const secret = 'planted-private-5550199'
  const clinic = clinicWith({
    people: [
      {
        ...person('nadia'),
        privateNumber: '+12125550142',
        pageAt: [{ pager: 'webhook', address: `https://${secret}.example/` }],
      },
    ],
    desks: [
      {
        ...desk('ward-desk'),
        pageAt: [{ pager: 'smtp', address: `${secret}@desk.example` }],
        privateNumber: '+12125550143',
      },
    ],
  })

  it('are the emergency number, one of the clinic, transport, and each hospital', () => {
    expect(familyNumbers(clinic)).toEqual({
      emergency: { number: '911' },
      clinic: { number: '+12125550110', words: 'Ask for the feeding nurse.' },
      transport: { number: '+12125550117' },
      hospitals: [{ id: 'harbour', name: 'Harbour', address: '1 Pier Lane', number: { number: '+12125550120' } }],
    })
  })

  it('hold nothing private, even where a record carries more than its type says', () => {
    const riding = { ...clinic.numbers.familiesRing, pageAt: secret }
    const laden = { ...clinic, numbers: { ...clinic.numbers, familiesRing: riding } }
    const told = JSON.stringify(familyNumbers(laden))
    for (const hidden of [secret, ...privateStrings(clinic)]) expect(told).not.toContain(hidden)
  })

  it('every private number and address is known to the search for leaks', () => {
    expect([...privateStrings(clinic)].sort()).toEqual([
      '+12125550142',
      '+12125550143',
      'desk@harbour.example',
      `https://${secret}.example/`,
      `${secret}@desk.example`,
    ])
  })
})
