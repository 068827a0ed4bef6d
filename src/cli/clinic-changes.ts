/** Changes of who is on call, from the fields of a form to the clinic's file and to those whom they concern. */
import { readFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import type { SignedIn } from '../accounts/signed-in.ts'
import type { Line } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { CaseView } from '../case/view.ts'
import type { Wording } from '../channels/web-page.ts'
import { type ClinicEdit, clinicHash, type Edited, editClinic } from '../config/clinic-edits.ts'
import { saveClinic } from '../config/clinic-save.ts'
import { roleText } from '../config/role-words.ts'
import type { ChangePreview } from '../http/console/change-page.ts'
import type { ChangeAsked, ChangePorts, Looked, Saved } from '../http/console/change-routes.ts'
import type { OnCallPorts } from '../http/console/on-call-routes.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { coverageOf } from '../oncall/coverage.ts'
import { dayNumberOf, type WallTime } from '../oncall/wall-time.ts'
import type { Runtime } from '../runtime/runtime.ts'
import type { Store } from '../store/store.ts'
import { after, days, type Instant, minutes } from '../time/instant.ts'
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
    const edit = editOf(asked)
    if (edit === undefined) return 'unreadable'
    return editClinic({ file, text, seen: asked.seen, edit, at: now(), beside, language: options.line().language })
  }

  async function look(asked: ChangeAsked): Promise<Looked> {
    const text = read()
    const found = edited(asked, text)
    if (found === 'unreadable') return { kind: 'refused', because: wording('on-call-unreadable'), seen: asked.seen }
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
    return {
      ...{ kind: asked.kind, seen: asked.seen, values: asked.values, sentence: found.sentence },
      brings: bringsOf(found),
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
    const written = saveClinic(file, found.text, found.basedOn)
    if (written.kind === 'stale') return save(who, asked, cases)
    const refused = taken(who, asked, found.hash, text)
    if (refused !== undefined) return { kind: 'refused', because: refused, seen: clinicHash(text) }
    const { sentence, hash } = found
    desk.change({ undo: { at: now(), by: who.name, sentence, hash, text } })
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

/** The edit that a form asks for; undefined where a field does not hold what it should. */
export function editOf({ kind, values }: ChangeAsked): ClinicEdit | undefined {
  const { who = '', role = '', number = '', to = '', section = '', line = '', id = '', value = '' } = values
  const why = values.why === undefined || values.why === '' ? {} : { why: values.why }
  switch (kind) {
    case 'cover': {
      const span = spanIn(values)
      return span === undefined || who === '' || role === '' ? undefined : { kind, role, who, ...span, ...why }
    }
    case 'leave': {
      const span = spanIn(values)
      return span === undefined || who === '' ? undefined : { kind, who, ...span, ...why }
    }
    case 'swap': {
      const shift = shiftIn(values.shift ?? '')
      const back = values['in-return'] ?? ''
      const inReturn = back === '' ? undefined : shiftIn(back)
      if (shift === undefined || to === '' || (back !== '' && inReturn === undefined)) return undefined
      const { role: of, starts, who: from } = shift
      return {
        ...{ kind, role: of, starts, of: from, to, ...why },
        ...(inReturn === undefined ? {} : { inReturn: { role: inReturn.role, starts: inReturn.starts } }),
      }
    }
    case 'setting':
      return id === '' || value === '' ? undefined : { kind, id, value }
    case 'hours':
      return value === '' ? undefined : { kind, day: values.day ?? '', value }
    case 'date':
      return value === '' || wallIn(`${values.date ?? ''}T00:00`) === undefined
        ? undefined
        : { kind, day: values.date ?? '', value }
    case 'retention':
      return value === '' ? undefined : { kind, value }
    case 'hospital':
      return id === '' || number === '' ? undefined : { kind: 'hospital-number', hospital: id, number }
    case 'families-number': {
      const which = (['emergency', 'families-ring', 'transport'] as const).find(each => each === values.which)
      return which === undefined || number === '' ? undefined : { kind, which, number }
    }
    case 'number':
      return who === '' || number === '' ? undefined : { kind: 'private-number', who, number }
    case 'weekly': {
      const shift = placeIn(values.index)
      if (shift === undefined || role === '' || who === '') return undefined
      return { kind, role, day: values.day ?? '', shift, who, from: values.starts ?? '', to: values.ends ?? '' }
    }
    case 'rung': {
      const rung = placeIn(values.rung)
      const act = (['earlier', 'out'] as const).find(each => each === values.act)
      return rung === undefined || act === undefined ? undefined : { kind, rung, act }
    }
    case 'rung-new': {
      const [names, named] = (values.names ?? '').split(' ')
      const what = (['on-call', 'person', 'desk'] as const).find(each => each === names)
      const when = whenIn(values)
      return what === undefined || named === undefined || when === undefined
        ? undefined
        : { kind, names: what, id: named, when }
    }
    case 'shift-new':
      return role === '' || who === '' || values.day === undefined
        ? undefined
        : { kind, role, day: values.day, who, from: values.starts ?? '', to: values.ends ?? '' }
    case 'shift-out': {
      const shift = placeIn(values.index)
      return role === '' || shift === undefined ? undefined : { kind, role, day: values.day ?? '', shift }
    }
    case 'role-new':
      return who === '' || (values.name ?? '') === ''
        ? undefined
        : { kind, role: roleIn(values.name ?? ''), who, from: values.starts ?? '', to: values.ends ?? '' }
    case 'take-back': {
      const at = placeIn(line)
      const part = (['changes', 'swaps', 'leave'] as const).find(each => each === section)
      return at === undefined || part === undefined ? undefined : { kind, section: part, line: at }
    }
  }
}

/** When a rung is used, as the file writes it; undefined where its two times are missing. */
function whenIn(values: ChangeAsked['values']): string | undefined {
  if (values.when !== 'between') return values.when ?? 'always'
  const [from, until] = [values['when-from'] ?? '', values['when-until'] ?? '']
  return from === '' || until === '' ? undefined : `${from}-${until}`
}

/** "Third line" as an id of the file: `third-line`. */
const roleIn = (name: string): string =>
  name
    .normalize('NFD')
    .toLowerCase()
    .replace(/[\u0300-\u036f]/g, '')
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-+|-+$/g, '')

/** A place in a list of the file, from 0. */
const placeIn = (said: string | undefined): number | undefined =>
  /^\d{1,4}$/.test(said ?? '') ? Number(said) : undefined

function spanIn(values: ChangeAsked['values']): { readonly from: WallTime; readonly until: WallTime } | undefined {
  const [from, until] = [wallIn(values.from ?? ''), wallIn(values.until ?? '')]
  return from === undefined || until === undefined ? undefined : { from, until }
}

/** `2026-03-01T18:00`, as a browser's field for local times has it. */
export function wallIn(said: string): WallTime | undefined {
  const parts = /^(\d{4})-(\d{2})-(\d{2})[T ](\d{2}):(\d{2})/.exec(said)?.slice(1).map(Number)
  const [year = 0, month = 0, date = 0, hour = 99, minute = 99] = parts ?? []
  const day = dayNumberOf(year, month, date)
  return day === undefined || hour > 23 || minute > 59 ? undefined : { day, minute: hour * 60 + minute }
}

/** The value of a shift in a list: role, who has it, and when it starts. */
export const shiftValue = (role: string, who: string, starts: string): string => `${role} ${who} ${starts}`

function shiftIn(said: string): { readonly role: string; readonly who: string; readonly starts: WallTime } | undefined {
  const [role = '', who = '', at = ''] = said.split(' ')
  const starts = wallIn(at)
  return starts === undefined || role === '' || who === '' ? undefined : { role, who, starts }
}
