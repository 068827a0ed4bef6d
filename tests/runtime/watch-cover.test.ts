import { describe, expect, it } from 'vitest'
import type { Clinic } from '../../src/oncall/clinic.ts'
import type { Page, Paged, Pager } from '../../src/pagers/pager.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { type CoverTold, watchCover } from '../../src/runtime/watch-cover.ts'
import type { Doubt } from '../../src/runtime/watch-health.ts'
import { hours, instant } from '../../src/time/instant.ts'
import { at, change, clinicWith, everyDay, person, wall } from '../oncall/clinic-built.ts'

const START = at('2026-11-30T12:00Z')

/** A clinic with a lead and an administrator, whose first role has nobody in the night that begins on 6 December. */
function clinicWithHole(more: Partial<Clinic['rota']> = {}): Clinic {
  const people = [
    { ...person('nadia'), pageAt: [{ pager: 'smtp', address: 'nadia@clinic.example' }] },
    {
      ...person('lead'),
      roles: ['lead' as const],
      pageAt: [
        { pager: 'smtp', address: 'lead@clinic.example' },
        { pager: 'webhook', address: 'https://pages.example/lead' },
      ],
    },
    { ...person('gone'), roles: ['administrator' as const], left: true },
  ]
  const clinic = clinicWith({ people, roles: { first: everyDay('08:00-18:00 lead', '18:00-08:00 nadia') } })
  const leave = [{ who: 'nadia', from: wall('2026-12-06 12:00'), until: wall('2026-12-07 12:00') }]
  return { ...clinic, rota: { ...clinic.rota, leave, ...more } }
}

function watched(clinic: Clinic, answers: () => Paged = () => ({ kind: 'accepted' })) {
  const clock = handClock(START)
  const pages: Page[] = []
  const faults: string[] = []
  let told: CoverTold | undefined
  let now = clinic
  let others: readonly Doubt[] = []
  const pager = (id: string): Pager => ({
    id,
    async page(page) {
      pages.push(page)
      return answers()
    },
    stop: async () => undefined,
  })
  const made = () =>
    watchCover({
      clinic: () => now,
      clock,
      random: { bytes: n => new Uint8Array(n), hex: n => '0'.repeat(n * 2), int: () => 0 },
      pagerOf: pager,
      others: () => others,
      textOf: (found, isLastDay) => [isLastDay ? 'TODAY' : 'SOON', ...found.map(one => `${one.what} ${one.role}`)],
      fitPage: pieces => pieces.join('; '),
      link: () => 'https://clinic.example/on-call',
      told: {
        read: () => told,
        write(next) {
          told = next
        },
      },
      onFault: ({ code }) => faults.push(code),
    })
  const watch = made()
  const hour = async (count: number) => {
    for (let one = 0; one < count; one++) await clock.advance(hours(1))
  }
  return {
    ...{ clock, pages, faults, watch, hour, made },
    change(next: Clinic) {
      now = next
    },
    alsoDoubts(next: readonly Doubt[]) {
      others = next
    },
  }
}

describe('holes in the rota of the coming week', () => {
  it('are told to the lead by mail seven days out, again each day, and on the last day on every way every four hours', async () => {
    const { watch, pages, hour } = watched(clinicWithHole())
    watch.start()
    await hour(24 * 7)
    const sent = pages.map(
      one => `${Math.round((one.at - START) / hours(1))} h ${one.to.id} ${one.address.split(/[:@]/)[0]} ${one.text}`,
    )
    // The hole begins 6 December 18:00 in New York: 155 hours on. It is in sight from the first look, 6.5 days before.
    expect(sent.slice(0, 2)).toEqual([
      '0 h lead lead SOON; ladder-empty undefined; rota-gap first',
      '24 h lead lead SOON; ladder-empty undefined; rota-gap first',
    ])
    const soon = pages.filter(one => one.text.startsWith('SOON'))
    const today = pages.filter(one => one.text.startsWith('TODAY'))
    expect(soon).toHaveLength(6)
    expect(new Set(soon.map(one => one.address))).toEqual(new Set(['lead@clinic.example']))
    expect(new Set(today.map(one => one.address))).toEqual(
      new Set(['lead@clinic.example', 'https://pages.example/lead']),
    )
    // From 131 h (24 before it begins) until the end of the week, every 4 hours, on two ways.
    expect(today.filter(one => one.address.startsWith('lead')).length).toBeGreaterThanOrEqual(9)
    expect(today.every(one => one.kind === 'page' && one.caseId === '')).toBe(true)
    watch.stop()
  })

  it('are doubts of the line, with role and hours, from the first look on', async () => {
    const { watch } = watched(clinicWithHole())
    await watch.look()
    expect(watch.doubts()).toMatchObject([
      { what: 'ladder-empty', from: at('2026-12-06T23:00Z'), until: at('2026-12-07T13:00Z') },
      { what: 'rota-gap', role: 'first', from: at('2026-12-06T23:00Z'), until: at('2026-12-07T13:00Z') },
    ])
  })

  it('that are covered are no longer told; a new one is told at once', async () => {
    const { watch, pages, change: take, hour } = watched(clinicWithHole())
    watch.start()
    await hour(1)
    expect(pages).toHaveLength(1)
    take(clinicWithHole({ changes: [change('first', '2026-12-06 18:00', '2026-12-07 08:00', 'lead')] }))
    await hour(48)
    expect(pages).toHaveLength(1)
    expect(watch.doubts()).toEqual([])
    take(clinicWithHole())
    await hour(1)
    expect(pages).toHaveLength(2)
    watch.stop()
  })

  it('a restart is no reason to tell again', async () => {
    const { watch, pages, made } = watched(clinicWithHole())
    await watch.look()
    await made().look()
    expect(pages).toHaveLength(1)
  })

  it('mail that nobody takes is tried again at the next look, and is a fault', async () => {
    let answer: Paged = { kind: 'failed', reason: 'smtp-451' }
    const { watch, pages, faults, clock } = watched(clinicWithHole(), () => answer)
    watch.start()
    await clock.advance(hours(0.4))
    expect(pages.length).toBeGreaterThanOrEqual(2)
    expect(faults).toContain('line-unheard')
    answer = { kind: 'accepted' }
    await clock.advance(hours(2))
    const after = pages.length
    await clock.advance(hours(2))
    expect(pages).toHaveLength(after)
    watch.stop()
  })

  it('a calendar that was not taken is told the same way', async () => {
    const { watch, pages, alsoDoubts } = watched(clinicWith())
    alsoDoubts([{ what: 'calendar-held', since: START, role: 'first' }])
    await watch.look()
    expect(pages.map(one => one.text)[0]).toBe('SOON; calendar-held first')
    expect(watch.doubts()).toHaveLength(1)
  })

  it('without lead and administrator everybody who can be reached is told, and nobody who has left', async () => {
    const clinic = clinicWithHole()
    const plain = { ...clinic, people: clinic.people.map(({ roles: _roles, ...one }) => one) }
    const { watch, pages } = watched(plain)
    await watch.look()
    expect(new Set(pages.map(one => one.to.id))).toEqual(new Set(['nadia', 'lead']))
    expect(instant(pages[0]?.at ?? 0)).toBe(START)
  })
})
