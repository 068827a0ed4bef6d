import { type LoadedClinic, readClinic } from '../../src/config/clinic-file.ts'
import type { Problem } from '../../src/flow/problem.ts'
import { instant } from '../../src/time/instant.ts'

/** A small faultless clinic file, and ways to spoil it. Every problem test starts from here. */
export const clinicText = `clinic:
  name: Test clinic
  zone: America/New_York
  clock: 24h
  demonstration: yes
  family-languages: [en, es]
  staff-language: en
numbers:
  emergency: { number: "911" }
  families-ring: { number: "+1 212 555 0110", words: Ask for the feeding nurse. }
  transport: { number: "+1 212 555 0117" }
hospitals:
  harbour:
    name: Harbour
    families-ring: { number: "+1 212 555 0120" }
    address: 1 Pier Lane
    handover-to: [{ pager: smtp, address: desk@harbour.example }]
people:
  nadia:
    name: Nadia Test
    job: feeding nurse
    page-at:
      - { pager: board }
      - { pager: smtp, address: nadia@clinic.example }
    private-number: "+1 212 555 0141"
  omar:
    name: Omar Test
    job: surgeon
    page-at: [{ pager: webhook, address: "demo:" }]
  clara:
    name: Clara Test
    job: ward clerk
    clinician: no
    page-at: [{ pager: smtp, address: clara@clinic.example }]
desks:
  day-desk: { name: Day desk, page-at: [{ pager: board }] }
opening:
  monday: 08:00-17:00
  dates: { 2026-12-25: closed }
rota:
  first:
    monday: [{ from: 08:00, to: 08:00, who: nadia }]
    tuesday: [{ from: 08:00, to: 08:00, who: nadia }]
    wednesday: [{ from: 08:00, to: 08:00, who: nadia }]
    thursday: [{ from: 08:00, to: 08:00, who: nadia }]
    friday: [{ from: 08:00, to: 08:00, who: nadia }]
    saturday: [{ from: 08:00, to: 08:00, who: nadia }]
    sunday: [{ from: 08:00, to: 08:00, who: nadia }]
changes:
  - { on-call: first, from: 2026-12-24 18:00, until: 2026-12-25 08:00, who: omar, why: swap }
ladder:
  - { desk: day-desk, when: open }
  - { on-call: first }
  - { person: omar }
settings:
  promise-grace: PT5M
sign-offs: []
`

/** A Wednesday noon in New York; the autumn clock change falls into the 14 days that are checked. */
export const present = instant(Date.parse('2026-10-28T16:00:00Z'))

export const read = (text: string): LoadedClinic => readClinic('clinic.yaml', text, present)

/**
 * The faultless file with `old` replaced by `spoilt`. A § in `spoilt` marks the character at which the problem must be
 * placed; it is taken out. Throws when `old` does not stand there exactly once.
 */
export function spoil(old: string, spoilt: string, text = clinicText): { text: string; place: string } {
  if (text.split(old).length !== 2) throw new Error(`"${old}" does not stand exactly once in the clinic file`)
  const marked = text.replace(old, () => spoilt)
  const before = marked.slice(0, marked.indexOf('§')).split('\n')
  return { text: marked.replace('§', ''), place: `${before.length}:${(before.at(-1)?.length ?? 0) + 1}` }
}

/** `12:5 CODE` or `12:5 CODE (warning)`. */
export const brief = ({ line, column, code, severity }: Problem): string =>
  `${line}:${column} ${code}${severity === 'warning' ? ' (warning)' : ''}`
