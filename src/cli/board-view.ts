/** The demonstration's clinician side: cases by what is due next, and who was reached how. */
import { basename } from 'node:path'
import type { Line } from '../case/line.ts'
import { clockOf, clockSaidOf } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import type { Refusal } from '../config/guard.ts'
import type { BoardPage, BoardRow, BoardView } from '../http/board-page.ts'
import { reachableOf } from '../oncall/clinic.ts'
import { isOpen } from '../oncall/opening.ts'
import type { Doubt } from '../runtime/watch-health.ts'
import type { Store, StoredCase } from '../store/store.ts'
import { before, days, type Instant } from '../time/instant.ts'
import { clockText, dayText } from '../time/local-time.ts'
import type { BotPagers } from './bot-pagers.ts'
import type { NotTaken } from './changing-line.ts'
import { storedView } from './stored-view.ts'

const MOST_PAGES = 40

export async function boardView(ports: {
  line: Line
  /** The line that a stored case is read with. */
  lineOf: (state: string) => Line
  store: Pick<Store, 'recent'>
  pagers: BotPagers
  /** As sentences. */
  doubts: readonly string[]
  at: Instant
  wording: Wording
}): Promise<BoardView> {
  const { line, store, pagers, doubts, at, wording } = ports
  const links = new Map(pagers.board.recent().map(page => [page.caseId, pathOf(page.link)]))
  const cases = await store.recent(before(at, days(1)))
  return {
    isNight: !isOpen(line.clinic, at),
    doubts,
    rows: cases.map(stored => rowOf(line, ports.lineOf(stored.state), stored, at, wording, links.get(stored.caseId))),
    pages: pagesOf(ports),
  }
}

/** What keeps the line from being trusted, each as a sentence; what is wrong in the clinic's files in full. */
export function doubtSentences(
  line: Line,
  doubts: readonly Doubt[],
  notTaken: Pick<NotTaken, 'refusals' | 'isClinicTaken'> | undefined,
  wording: Wording,
): readonly string[] {
  return doubts.flatMap(({ what, since, pager, ...doubt }) => {
    if (doubt.from !== undefined) return [holeSentence(line, { what, since, ...doubt }, wording)]
    const way = pager === undefined ? '' : ` (${pager})`
    const said = `${wording(`doubt-${what}`)}${way} ${wording('doubt-since', { now: clockSaidOf(line, since) })}`
    if (what !== 'clinic-file-refused' || notTaken === undefined) return [said]
    const held = notTaken.isClinicTaken ? [wording('doubt-content-held')] : []
    return [said, ...held, ...notTaken.refusals.map(lineOfRefusal)]
  })
}

/** Hours without anybody, with their dates: "Nobody is on call (first) from Friday 4 December 6:00 pm until …". */
export function holeSentence(
  { clinic, language }: Line,
  { what, role, from, until, since }: Doubt,
  wording: Wording,
): string {
  const moment = (at: Instant) =>
    `${dayText(at, clinic.zone, since, language)} ${clockText(at, clinic.zone, clinic.clock, language)}`
  const [begins, ends] = [from ?? since, until ?? since]
  return wording(`doubt-${what}`, { role: role ?? '', from: moment(begins), until: moment(ends) })
}

function rowOf(
  line: Line,
  read: Line,
  stored: StoredCase,
  at: Instant,
  wording: Wording,
  link: string | undefined,
): BoardRow {
  const view = storedView(read, stored, [], at)
  const promised = view.callout.promisedAt
  const next = view.coming[0]
  const due =
    promised !== undefined && view.callout.state === 'taken'
      ? { at: promised, text: wording('board-promised', { now: clockSaidOf(line, promised) }) }
      : next === undefined
        ? undefined
        : { at: next.due, text: `${clockOf(line, next.due)} ${next.says}` }
  return {
    code: view.code,
    headline: view.headline,
    callout: view.callout.sentence,
    ...(due === undefined ? {} : { next: due.text, nextAt: due.at }),
    marks: view.marks,
    closed: view.closed,
    ...(link === undefined ? {} : { link }),
  }
}

function pagesOf({
  line,
  pagers,
  wording,
}: {
  line: Line
  pagers: BotPagers
  wording: (id: string) => string
}): BoardPage[] {
  const name = (id: string) => reachableOf(line.clinic, id)?.name ?? id
  const shown = pagers.board.recent().map(page => ({
    at: page.at,
    to: page.to.name,
    by: wording('by-board'),
    text: page.text,
    outcome: wording('outcome-shown'),
    link: pathOf(page.link),
  }))
  const sent = (pagers.demo?.recent() ?? []).map(one => ({
    at: one.at,
    to: name(one.to),
    by: wording(`by-${one.how}`),
    text: one.text,
    outcome: wording('outcome-arrived'),
  }))
  return [...shown, ...sent].sort((a, b) => b.at - a.at).slice(0, MOST_PAGES)
}

const lineOfRefusal = ({ where, found, expected }: Refusal): string => `${basename(where)} – ${found}; ${expected}`

/** A link that is none leads nowhere, and takes no page of the board with it. */
const pathOf = (link: string): string => (URL.canParse(link) ? new URL(link).pathname : '')
