/** A clinician's answer to a page by text message, where no page of the web opens: the case's code and a digit. */
import { type Line, staffLine } from '../case/line.ts'
import { parseState } from '../case/state.ts'
import { clockOf } from '../case/values.ts'
import { type FamilyFoot, type FamilyNumber, shownNumber, type Wording } from '../channels/web-page.ts'
import type { Acted, ActedBy, ClinicianAction } from '../http/action.ts'
import { type Clinic, peopleThere } from '../oncall/clinic.ts'
import type { Page } from '../pagers/pager.ts'
import { parkedOf } from '../runtime/parking.ts'
import type { Reads } from '../runtime/runtime.ts'
import { after, before, days, type Instant, minutes } from '../time/instant.ts'
import { clinicianOf } from './page-link.ts'

export interface SmsAnswerPorts {
  /** The line as it is now. */
  readonly line: () => Line
  /** The line that a stored case is read with. */
  readonly lineOf: (state: string) => Line
  readonly store: Pick<Reads, 'recent'>
  readonly act: (caseId: string, by: ActedBy, action: ClinicianAction) => Promise<Acted>
  readonly wording: Wording
  /** Whom a clinician rings when the page does not help, as one line with its number. */
  readonly desk: () => string
  /** What whoever is nobody of the clinic is told: that nobody reads this, and the numbers. */
  readonly toOthers: () => string
  readonly now: () => Instant
}

/** "2" promises a call within this time: the shortest that the case's page offers beside "now". */
const RINGING_WITHIN = minutes(15)
/** The same digit again within this time is the same answer: a telephone company may deliver twice. */
const SAME_ANSWER = minutes(10)

/** How a page is answered by text message, to stand after the page's own words. */
export const howToAnswer = (wording: Wording, { code }: Page): string =>
  wording('sms-how-to-answer', {
    takeNow: `${digitsOf(code)} 1`,
    takeSoon: `${digitsOf(code)} 2`,
    goIn: `${digitsOf(code)} 3`,
    passOn: `${digitsOf(code)} 4`,
    minutes: RINGING_WITHIN / 60_000,
  })

/**
 * Does what an answer says, and tells what came of it, in the words to be sent back. A number that is nobody's of the clinic
 * may be a family's: it is told whom to ring. Rejects when it could not be kept: the telephone company then comes again.
 */
export async function answerToPage(ports: SmsAnswerPorts, from: string, text: string): Promise<string> {
  const { wording } = ports
  const { clinic } = ports.line()
  const people = paged(clinic, from)
  if (people.length === 0) return ports.toOthers()
  const [, code, digit] = /(\d{4})\D*?([1-4])\s*\D*$/.exec(text.normalize('NFKC')) ?? []
  if (code === undefined || digit === undefined) return wording('sms-not-read')
  const page = await pagedFor(ports, code, people)
  if (page === undefined) return wording('sms-no-such-case', { code })
  const clinician = clinicianOf(clinic, page.who)
  if (clinician === undefined) return wording('sms-no-such-case', { code })
  const at = ports.now()
  const round = Math.floor(at / SAME_ANSWER)
  const by = { by: clinician, deliveryId: `sms.${page.caseId}.${page.who}.${digit}.${round}` }
  const action = actionOf(digit, at)
  // Nobody passes on what another person has taken.
  if (action.kind === 'pass-on' && page.takenBy !== undefined && page.takenBy.by.id !== page.who)
    return toldOf(ports, code, action, { kind: 'taken-by', name: page.takenBy.by.name, at: page.takenBy.at })
  return toldOf(ports, code, action, await ports.act(page.caseId, by, action))
}

function actionOf(digit: string, at: Instant): ClinicianAction {
  switch (digit) {
    case '1':
      return { kind: 'take', doing: { kind: 'ringing-now' } }
    case '2':
      return { kind: 'take', doing: { kind: 'ringing-by', by: after(at, RINGING_WITHIN) } }
    case '3':
      return { kind: 'take', doing: { kind: 'go-in' } }
    default:
      return { kind: 'pass-on' }
  }
}

/** The open case with these digits, and who of these people was paged for it; the latest changed, should there be two. */
async function pagedFor({ store, lineOf, now }: SmsAnswerPorts, code: string, people: readonly string[]) {
  for (const stored of await store.recent(before(now(), days(1)))) {
    if (stored.closed || parkedOf(stored.state) !== undefined) continue
    const state = parseState(lineOf(stored.state), stored.state)
    if (digitsOf(state.code) !== code) continue
    const who = people.find(id => state.callout.pages.some(({ to }) => to === id))
    const takenBy = state.kernel.callout === 'taken' ? state.callout.taken : undefined
    if (who !== undefined) return { caseId: stored.caseId, who, takenBy }
  }
  return undefined
}

function toldOf(ports: SmsAnswerPorts, code: string, action: ClinicianAction, acted: Acted): string {
  const { wording } = ports
  switch (acted.kind) {
    case 'done':
      return action.kind === 'pass-on'
        ? wording('sms-passed-on', { code })
        : wording('sms-taken', { code, desk: ports.desk() })
    case 'taken-by':
      return wording('sms-taken-by', {
        code,
        clinician: acted.name,
        now: clockOf(staffLine(ports.line()), acted.at),
      })
    case 'refused':
      return acted.why
  }
}

const digitsOf = (code: string): string => code.replaceAll(/\D/g, '')

/** A number with its label, in one line. */
export const numberLine = (number: FamilyNumber): string => `${number.label}: ${shownNumber(number)}`

/** In the language families use first: nothing is known of whoever writes. */
export const smsToOthers = (line: Line, wording: Wording, foot: FamilyFoot, address: string): string =>
  wording('sms-to-others', {
    clinicName: line.clinic.name,
    emergency: numberLine(foot.emergency),
    clinic: numberLine(foot.clinic),
    address,
  })

/** Ids of whoever of the clinic is paged by text message at this number. */
const paged = (clinic: Clinic, number: string): readonly string[] =>
  [...peopleThere(clinic), ...clinic.desks]
    .filter(({ pageAt }) => pageAt.some(({ pager, address }) => pager === 'sms' && address === number))
    .map(({ id }) => id)

export const isOfClinic = (clinic: Clinic, number: string): boolean => paged(clinic, number).length > 0
