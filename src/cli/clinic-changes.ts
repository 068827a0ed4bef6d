/** Changes of who is on call, from the fields of a form to the clinic's file and to those whom they concern. */
import { readFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { CaseView } from '../case/view.ts'
import type { Wording } from '../channels/web-page.ts'
import { besideWith, calendarFile } from '../config/calendar-edits.ts'
import { removeUnnamed, writeCalendar } from '../config/calendar-files.ts'
import { type ClinicEdit, clinicHash, type Edited, editClinic } from '../config/clinic-edits.ts'
import { saveClinic } from '../config/clinic-save.ts'
import { roleText } from '../config/role-words.ts'
import type { ChangePreview } from '../http/console/change-page.ts'
import type { ChangeAsked, ChangePorts, Looked, Saved } from '../http/console/change-routes.ts'
import type { OnCallPorts } from '../http/console/on-call-routes.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import type { Runtime } from '../runtime/runtime.ts'
import type { Store } from '../store/store.ts'
import { after, days, type Instant, minutes } from '../time/instant.ts'
import type { CalendarDrafts, CalendarGiven } from './calendar-drafts.ts'
import { calendarPreview } from './calendar-said.ts'
import { editOf } from './change-asked.ts'
import { bringsText, OF_COVER, refusalText } from './change-said.ts'
import type { ChangingLine } from './changing-line.ts'
import { coverDoubts } from './cover-said.ts'
import type { DeskFile, DeskState } from './desk-file.ts'
import { momentText } from './now-view.ts'
import { clinicianOf } from './page-link.ts'
import { storedView } from './stored-view.ts'
import { lengthUnits } from './value-fields.ts'

/** How long the last change can be undone. */
export const UNDO_MS = minutes(10)
/** Days ahead in which a change is looked through for doubts about the cover. */
const DAYS_LOOKED = 90
/** Doubts told, at most. */
const DOUBTS_MOST = 6

export interface ClinicChangesOptions {
  readonly clinicDir: string
  readonly changing: ChangingLine
  readonly line: () => Line
  readonly lineOf: (state: string) => Line
  readonly runtime: Pick<Runtime, 'act' | 'tellPeople'> & { readonly reads: Pick<Store, 'recent'> }
  readonly desk: DeskFile
  /** Calendars that were given and are not saved. */
  readonly drafts: CalendarDrafts
  readonly now: () => Instant
  readonly wording: Wording
  /** Where whoever is told can look. */
  readonly onCallLink: () => string
}

export interface ClinicChanges extends Pick<ChangePorts, 'look' | 'save' | 'units'>, Pick<OnCallPorts, 'undo'> {
  /** Hash of the file as it lies there. */
  seen(): string
  /** The file as it lies there. */
  text(): string
  /** What was changed last, while it can be undone. */
  undoable(): DeskState['undo']
}

export function clinicChanges(options: ClinicChangesOptions): ClinicChanges {
  const { changing, desk, now, wording } = options
  const file = join(options.clinicDir, 'clinic.yaml')
  const read = () => readFileSync(file, 'utf8')
  const beside = (name: string) => readFileSync(resolve(options.clinicDir, name))

  function edited(asked: ChangeAsked, text: string): Edited | 'unreadable' {
    const given = givenOf(asked)
    const edit = given === undefined ? editOf(asked) : editOfCalendar(given)
    if (edit === undefined) return 'unreadable'
    return editClinic({
      ...{ file, text, seen: asked.seen, edit, at: now(), language: options.line().language },
      beside: given === undefined ? beside : besideWith(beside, given.copy),
    })
  }

  /** The calendar that is to be saved; none that has an event which is nobody's. */
  function givenOf({ kind, values }: ChangeAsked): CalendarGiven | undefined {
    const given = kind === 'calendar' ? options.drafts.of(values.draft ?? '') : undefined
    return given?.isWhole === true ? given : undefined
  }

  async function look(asked: ChangeAsked): Promise<Looked> {
    const text = read()
    const found = edited(asked, text)
    if (found === 'unreadable') {
      const because = wording(asked.kind === 'calendar' ? 'on-call-calendar-forgotten' : 'on-call-unreadable')
      return { kind: 'refused', because, seen: asked.seen }
    }
    switch (found.kind) {
      case 'edited':
        return { kind: 'preview', preview: await previewOf(asked, found) }
      case 'refused':
        return { kind: 'refused', because: refusalText(asked, found, sources(options.line())), seen: asked.seen }
      case 'stale': {
        const again = await look({ ...asked, seen: found.hash })
        const because = [wording('on-call-stale'), ...lastChange(found.hash)].join(' ')
        if (again.kind === 'preview') return { kind: 'stale', because, seen: found.hash, preview: again.preview }
        return { kind: 'stale', because: `${because} ${again.because}`, seen: found.hash }
      }
    }
  }

  /** Who changed the file meanwhile, where a page did. */
  function lastChange(hash: string): readonly string[] {
    const { undo } = desk.read()
    return undo?.hash === hash ? [wording('on-call-stale-by', { name: undo.by }), undo.sentence] : []
  }

  async function previewOf(asked: ChangeAsked, found: Extract<Edited, { kind: 'edited' }>): Promise<ChangePreview> {
    const given = givenOf(asked)
    const brings = bringsOf(found)
    const calendar =
      given === undefined ? {} : { calendar: calendarPreview(given, found.clinic, sources(options.line())) }
    return {
      ...{ kind: asked.kind, seen: asked.seen, values: asked.values, sentence: found.sentence, brings, ...calendar },
      cases: found.differences.some(({ from, until }) => from <= now() && now() < until) ? await pagingCases() : [],
    }
  }

  /** Holes the change makes, however far ahead; what else it does to the cover; and what the file's own checks find in it. */
  function bringsOf({ differences, brings, clinic }: Extract<Edited, { kind: 'edited' }>): readonly string[] {
    const line = options.line()
    const said = (at: Instant) => momentText(line, at, now())
    const holes = differences.filter(one => one.after === undefined)
    const doubts = (of: Clinic) =>
      coverDoubts(coverageOf(of, now(), after(now(), days(DAYS_LOOKED))), of, sources(line))
    const before = new Set(doubts(line.clinic).map(({ says }) => says))
    return [
      ...holes.map(({ role, from, until }) =>
        wording('on-call-hole', { role: roleText(role, line.language), from: said(from), until: said(until) }),
      ),
      ...doubts(clinic)
        .filter(({ says }) => !before.has(says))
        .slice(0, DOUBTS_MOST)
        .map(({ says }) => says),
      ...brings.flatMap(one => (OF_COVER.has(one.code) ? [] : [bringsText(one, wording)])),
    ]
  }

  const sources = (line: Line) => ({ line, wording, at: now() })

  /** Open cases that nobody has yet. */
  async function pagingCases(): Promise<ChangePreview['cases']> {
    const cases = await options.runtime.reads.recent(now())
    return cases
      .map(stored => storedView(options.lineOf(stored.state), stored, [], now()))
      .filter(({ closed, callout }) => !closed && (callout.state === 'paging' || callout.state === 'unanswered'))
      .map((view: CaseView) => ({
        caseId: view.caseId,
        code: view.code,
        says: `${view.headline}. ${view.callout.sentence}`,
      }))
  }

  async function save(who: SignedIn, asked: ChangeAsked, cases: readonly string[]): Promise<Saved> {
    const text = read()
    const found = edited(asked, text)
    if (found === 'unreadable' || found.kind !== 'edited') {
      const looked = await look(asked)
      return looked.kind === 'preview'
        ? { kind: 'stale', because: wording('on-call-stale'), seen: looked.preview.seen, preview: looked.preview }
        : looked
    }
    const given = givenOf(asked)
    if (given !== undefined) writeCalendar(options.clinicDir, given.copy)
    const written = saveClinic(file, found.text, found.basedOn)
    if (written.kind === 'stale') return save(who, asked, cases)
    const refused = taken(who, asked, found.hash, text)
    const { sentence, hash } = found
    if (refused === undefined) desk.change({ undo: { at: now(), by: who.name, sentence, hash, text } })
    // What was taken before stays, as long as it can be undone.
    if (given !== undefined) removeUnnamed(options.clinicDir, given.role, [read(), desk.read().undo?.text ?? ''])
    if (refused !== undefined) return { kind: 'refused', because: refused, seen: clinicHash(text) }
    options.drafts.remove(asked.values.draft ?? '')
    concern(who, found, cases)
    return { kind: 'saved' }
  }

  /** Takes the file as it lies there; where a guard stands in the way, puts it back and says why. */
  function taken(who: SignedIn, { kind }: ChangeAsked, hash: string, before: string): string | undefined {
    const notTaken = changing.look(who.personId)
    if (notTaken === undefined || (notTaken.isClinicTaken && kind !== 'setting')) return undefined
    if (clinicHash(read()) === hash) saveClinic(file, before, hash)
    changing.look(who.personId)
    if (kind === 'setting' && notTaken.isClinicTaken) return wording('settings-needs-two')
    return [
      wording('on-call-guarded'),
      ...notTaken.refusals.map(({ found, expected }) => `${found}; ${expected}.`),
    ].join(' ')
  }

  /** Tells those whose nights changed, and pages whoever is on call now for the cases that were ticked. */
  function concern(who: SignedIn, found: Extract<Edited, { kind: 'edited' }>, cases: readonly string[]): void {
    const by = clinicianOf(options.line().clinic, who.personId) ?? { id: who.personId, name: who.name, role: '' }
    for (const caseId of cases.filter(each => /^[0-9a-f]{32}$/.test(each)))
      void options.runtime
        .act(caseId, { kind: 'rotaChanged', by }, `${caseId}.rota.${found.hash.slice(0, 24)}`)
        .catch(() => undefined)
    const pieces = [wording('on-call-told'), found.sentence]
    void options.runtime.tellPeople({
      ...{ to: found.told, pieces, key: `rota.${found.hash.slice(0, 24)}`, urgency: 'speak' },
      link: () => options.onCallLink(),
    })
  }

  function undoable(): DeskState['undo'] {
    const { undo } = desk.read()
    return undo === undefined || now() > after(undo.at, UNDO_MS) ? undefined : undo
  }

  return {
    units: lengthUnits(wording),
    seen: () => clinicHash(read()),
    text: read,
    look,
    save,
    undoable,
    async undo(who) {
      const last = undoable()
      if (last === undefined) return 'too-late'
      if (clinicHash(read()) !== last.hash || saveClinic(file, last.text, last.hash).kind === 'stale')
        return 'changed-since'
      changing.look(who.personId)
      desk.change({ undo: undefined })
      return 'done'
    },
  }
}

/** Until when the last change can be undone, as a clock time. */
export const undoUntil = (line: Line, { at }: NonNullable<DeskState['undo']>): string =>
  clockOf(line, after(at, UNDO_MS))

const editOfCalendar = ({ role, from, onlyPublic, ignores, copy }: CalendarGiven): ClinicEdit => ({
  ...{ kind: 'calendar', role, onlyPublic, ignores, file: calendarFile(copy) },
  ...(from === undefined ? {} : { from }),
})
