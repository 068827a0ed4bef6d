/** A clinician's answer to a page by text message: the case's code and a digit. */
import type { Line } from '../case/line.ts'
import { type FamilyFoot, type FamilyNumber, shownNumber, type Wording } from '../channels/web-page.ts'
import { type Clinic, peopleThere } from '../oncall/clinic.ts'
import type { Page } from '../pagers/pager.ts'
import { minutes } from '../time/instant.ts'
import { answerPaged, CHOICES, digitsOf, type PageAnswerPorts, pagedCase, RINGING_WITHIN } from './page-answers.ts'

export interface SmsAnswerPorts extends PageAnswerPorts {
  /** What whoever is nobody of the clinic is told: that nobody reads this, and the numbers. */
  readonly toOthers: () => string
}

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
  const people = paged(ports.line().clinic, from)
  if (people.length === 0) return ports.toOthers()
  const [, code, digit] = /(\d{4})\D*?([1-4])\s*\D*$/.exec(text.normalize('NFKC')) ?? []
  const choice = CHOICES.find(one => one === digit)
  if (code === undefined || choice === undefined) return wording('sms-not-read')
  const found = await pagedCase(ports, people, (_stored, state) => digitsOf(state.code) === code)
  if (found === undefined) return wording('sms-no-such-case', { code })
  const round = Math.floor(ports.now() / SAME_ANSWER)
  return answerPaged(ports, found, choice, `sms.${found.caseId}.${found.who}.${choice}.${round}`)
}

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
