import { DateTime } from 'luxon'
import type { Clinic } from '../oncall/clinic.ts'
import { coverageOf, type RungUncovered, type Uncovered } from '../oncall/coverage.ts'
import { familyNumbers, privateStrings } from '../oncall/family-numbers.ts'
import { swapTroubles } from '../oncall/swaps.ts'
import { instantsOf, wallTimeAt } from '../oncall/wall-time.ts'
import { after, days, type Instant } from '../time/instant.ts'
import { type PartReader, type Path, pathText } from './part-reader.ts'

/** Checks that need the whole clinic: cover in the coming days, private numbers in public places. */

const DAYS_CHECKED = 14
/** A hole that begins within so many days stands in the way of serving; a later one is a warning. */
const DAYS_NEAR = 7
const MOST_OF_A_KIND = 10

/** Holes in the cover of the next 14 days. One that comes back each week is told once; one person alone, once a person. */
export function reportCover(reader: PartReader, clinic: Clinic, at: Instant): void {
  const until = after(at, days(DAYS_CHECKED))
  const severityOf = (from: Instant) => (from < after(at, days(DAYS_NEAR)) ? 'problem' : 'warning')
  const told = new Map<string, Set<string>>()
  const isNew = (about: string, mark: string) => {
    const marks = told.get(about) ?? new Set()
    told.set(about, marks)
    if (marks.has(mark) || marks.size >= MOST_OF_A_KIND) return false
    marks.add(mark)
    return true
  }
  const ofWeek = ({ from, until: end }: Uncovered) => {
    const { day, minute } = wallTimeAt(clinic.zone, from)
    return `${day % 7} ${minute} ${end - from}`
  }
  const { rungs, empty, single, overlaps } = coverageOf(clinic, at, until)
  for (const hole of rungs) {
    if (!isNew(`role ${hole.role}`, ofWeek(hole))) continue
    const found = `${nobodyText(hole)} as "${hole.role}" from ${spoken(clinic, hole.from)} to ${spoken(clinic, hole.until)}`
    reader.report(
      ['rota', hole.role],
      'ROTA_GAP',
      found,
      'cover without a gap: add a shift, or a change for these hours',
      { key: true, severity: severityOf(hole.from) },
    )
  }
  for (const hole of empty) {
    if (!isNew('ladder', ofWeek(hole))) continue
    const found = `the ladder reaches nobody from ${spoken(clinic, hole.from)} to ${spoken(clinic, hole.until)}`
    const remark = { key: true, severity: severityOf(hole.from) } as const
    reader.report(['ladder'], 'LADDER_EMPTY', found, 'a rung that is in use at every hour', remark)
  }
  for (const hole of single) {
    if (!isNew(`only ${hole.id}`, '')) continue
    const found = `"${hole.id}" alone is the whole ladder, first from ${spoken(clinic, hole.from)} to ${spoken(clinic, hole.until)}`
    reader.report(['ladder'], 'LADDER_ONE_PERSON', found, 'a second person or a desk to page', {
      key: true,
      severity: 'warning',
    })
  }
  for (const both of overlaps) {
    if (!isNew(`both ${both.role} ${both.pages} ${both.also}`, ofWeek(both))) continue
    const found = `"${both.pages}" and "${both.also}" are both on call as "${both.role}" from ${spoken(clinic, both.from)} to ${spoken(clinic, both.until)}; "${both.pages}" is paged`
    reader.report(['rota', both.role], 'ROTA_OVERLAP', found, 'one person in a role at a time', {
      key: true,
      severity: 'warning',
    })
  }
}

function nobodyText({ because, who }: RungUncovered): string {
  switch (because) {
    case 'nobody-on-call':
      return 'nobody on call'
    case 'on-leave':
      return `nobody on call, since "${who}" is on leave,`
    case 'has-left':
      return `nobody on call, since "${who}" has left,`
    case 'no-address':
      return `nobody on call, since "${who}" has no way to be paged,`
    case 'unknown-id':
      return `nobody on call, since nobody is called "${who}",`
  }
}

/** Changes that end before they start, or cover the same moment as an earlier one. */
export function reportChanges(reader: PartReader, clinic: Clinic, places: readonly number[]): void {
  const spans = clinic.rota.changes.map(({ from, until, role }) => ({
    role,
    from: instantsOf(clinic.zone, from).earlier,
    until: instantsOf(clinic.zone, until).later,
  }))
  spans.forEach((span, index) => {
    const place = places[index] ?? index
    if (span.until <= span.from) {
      reader.report(
        ['changes', place, 'until'],
        'CHANGE_BACKWARDS',
        'a change that ends before it starts',
        'an end after the start',
      )
      return
    }
    const other = spans.findIndex(
      (one, before) => before < index && one.role === span.role && one.from < span.until && span.from < one.until,
    )
    if (other < 0) return
    const found = `overlaps the change at ${pathText(['changes', places[other] ?? other])}`
    reader.report(['changes', place], 'CHANGES_OVERLAP', found, 'one change for each hour: here the later line wins', {
      severity: 'warning',
    })
  })
}

/** Swaps that name a shift nobody has, or that undo one another. */
export function reportSwaps(reader: PartReader, clinic: Clinic, places: readonly number[], at: Instant): void {
  for (const { swap, kind, inReturn, of, near } of swapTroubles(clinic, at)) {
    const path = ['swaps', places[swap] ?? swap, inReturn ? 'in-return' : 'shift']
    const said = String(reader.valueAt(path) ?? '')
    if (kind === 'back') {
      const found = `the swaps of the shift at ${said} lead back to somebody who gave it away`
      reader.report(path, 'SWAP_BACK', found, 'one line for each swap that stands', { severity: 'warning' })
      continue
    }
    const starts = near.map(({ startsAt }) => wallText(clinic, startsAt))
    const expected =
      starts.length === 0
        ? `the date and time at which a shift of "${of}" starts`
        : `the start of a shift of "${of}": ${starts.join(', ')}`
    reader.report(path, 'SWAP_UNMATCHED', `no shift of "${of}" that starts at ${said}: nothing is swapped`, expected)
  }
}

/** An instant as the file writes it. */
const wallText = (clinic: Clinic, at: Instant): string =>
  DateTime.fromMillis(at, { zone: clinic.zone }).toFormat('yyyy-MM-dd HH:mm')

function spoken(clinic: Clinic, at: Instant): string {
  const form = clinic.clock === '12h' ? 'ccc d LLL yyyy h:mm a' : 'ccc d LLL yyyy HH:mm'
  return DateTime.fromMillis(at, { zone: clinic.zone, locale: 'en' }).toFormat(form)
}

/** Private numbers and addresses that stand where families read. `places` are the public texts and numbers. */
export function reportPrivateShown(reader: PartReader, clinic: Clinic): void {
  const hidden = privateStrings(clinic)
  for (const { path, text } of publicTexts(clinic)) {
    const shown = hidden.find(secret => shows(text, secret))
    if (shown === undefined) continue
    const expected =
      'nothing private: families read this. Give a number that families may ring, or change the private one'
    reader.report(path, 'PRIVATE_SHOWN', `a private number or address in ${pathText(path)}`, expected)
  }
}

/** Whether a text holds an address, or the last seven digits of a private number however they are spaced. */
function shows(text: string, secret: string): boolean {
  if (text.toLowerCase().includes(secret.toLowerCase())) return true
  return secret.startsWith('+') && !text.startsWith('+') && text.replaceAll(/\D/g, '').includes(secret.slice(-7))
}

function publicTexts(clinic: Clinic): readonly { path: Path; text: string }[] {
  const numbers = familyNumbers(clinic)
  const found: { path: Path; text: string | undefined }[] = [{ path: ['clinic', 'name'], text: clinic.name }]
  const addNumber = (path: Path, { number, words, hours }: { number: string; words?: string; hours?: string }) =>
    found.push(
      { path: [...path, 'number'], text: number },
      { path: [...path, 'words'], text: words },
      { path: [...path, 'hours'], text: hours },
    )
  addNumber(['numbers', 'emergency'], numbers.emergency)
  addNumber(['numbers', 'families-ring'], numbers.clinic)
  addNumber(['numbers', 'transport'], numbers.transport)
  for (const hospital of clinic.hospitals) {
    const path = ['hospitals', hospital.id]
    addNumber([...path, 'families-ring'], hospital.familiesRing)
    found.push({ path: [...path, 'name'], text: hospital.name }, { path: [...path, 'address'], text: hospital.address })
    found.push({ path: [...path, 'door'], text: hospital.door })
    hospital.canDo.forEach((text, index) => {
      found.push({ path: [...path, 'can-do', index], text })
    })
  }
  for (const { id, name, job } of clinic.people) {
    found.push({ path: ['people', id, 'name'], text: name }, { path: ['people', id, 'job'], text: job })
  }
  return found.flatMap(({ path, text }) => (text === undefined ? [] : [{ path, text }]))
}
