/** What a clinician does on Telegram: answers a page by its buttons, or writes to the family in reply to it. */
import type { Wording } from '../channels/web-page.ts'
import { peopleThere } from '../oncall/clinic.ts'
import type { Page } from '../pagers/pager.ts'
import type { Arrived } from '../telegram/arrived.ts'
import type { Button } from '../telegram/connection.ts'
import {
  answerPaged,
  CHOICES,
  type Choice,
  openCases,
  type PageAnswerPorts,
  type PagedCase,
  pagedCase,
  RINGING_WITHIN,
} from './page-answers.ts'
import { clinicianOf } from './page-link.ts'

export interface TelegramAnswerPorts extends PageAnswerPorts {
  readonly sign: (what: string) => string
  /** Where a family writes, for a clinician who has a child of their own in trouble. */
  readonly address: () => string
}

/** What a linked account can do; the rest is no act of a clinician. */
export type ClinicianArrived = Exclude<Arrived, { kind: 'elsewhere' | 'nothing' | 'blocked' }>

/** The choices under a page; the data names the case, and is signed for the one who was paged. */
export function pageButtons(
  sign: (what: string) => string,
  wording: Wording,
  { caseId, kind, to }: Page,
): readonly (readonly Button[])[] {
  if (caseId === '' || kind === 'taken') return []
  const labels: Readonly<Record<Choice, string>> = {
    '1': wording('clinic-ringing-now'),
    '2': wording('telegram-ringing-soon', { minutes: RINGING_WITHIN / 60_000 }),
    '3': wording('clinic-go-in'),
    '4': wording('clinic-pass-on'),
  }
  return CHOICES.map(choice => [{ text: labels[choice], data: dataOf(sign, choice, caseId, to.id) }])
}

export const howToAnswerHere = (wording: Wording): string =>
  wording('telegram-how-to-answer', { minutes: RINGING_WITHIN / 60_000 })

const dataOf = (sign: (what: string) => string, choice: Choice, caseId: string, who: string): string =>
  `p.${choice}.${caseId}.${sign(['page', choice, caseId, who].join('\n'))}`

/** The choice and the case that a button names, if it was made for this person. */
function pressIn(
  sign: (what: string) => string,
  data: string,
  who: string,
): { readonly choice: Choice; readonly caseId: string } | undefined {
  const [, digit, caseId = ''] = /^p\.([1-4])\.([0-9a-f]{32})\./.exec(data) ?? []
  const choice = CHOICES.find(one => one === digit)
  return choice !== undefined && data === dataOf(sign, choice, caseId, who) ? { choice, caseId } : undefined
}

/**
 * Does what a clinician did, and gives the words to be sent back. Rejects when it could not be kept: it then comes again, and
 * counts once by its key.
 */
export async function clinicianDid(ports: TelegramAnswerPorts, who: string, did: ClinicianArrived): Promise<string> {
  const { wording } = ports
  switch (did.kind) {
    case 'press': {
      const pressed = pressIn(ports.sign, did.data, who)
      const paged = pressed === undefined ? undefined : await caseOf(ports, who, pressed.caseId)
      if (pressed === undefined || paged === undefined) return wording('telegram-page-gone', { desk: ports.desk() })
      return answerPaged(ports, paged, pressed.choice, `telegram.${did.key}`)
    }
    case 'words':
      return written(ports, who, did)
    case 'number':
    case 'media':
      return wording('telegram-words-only')
    case 'start':
    case 'command':
      return linkedWords(ports, who)
  }
}

export function linkedWords({ line, wording, address }: TelegramAnswerPorts, who: string): string {
  const { clinic } = line()
  return wording('telegram-linked', {
    clinician: clinicianOf(clinic, who)?.name ?? who,
    clinicName: clinic.name,
    address: address(),
  })
}

const caseOf = (ports: TelegramAnswerPorts, who: string, caseId: string): Promise<PagedCase | undefined> =>
  pagedCase(ports, [who], stored => stored.caseId === caseId)

/** A clinician's own words for a family: in reply to its page, or where they have taken one case and no other. */
async function written(
  ports: TelegramAnswerPorts,
  who: string,
  did: ClinicianArrived & { kind: 'words' },
): Promise<string> {
  const { wording } = ports
  if (did.how !== undefined) return wording('telegram-words-only')
  const paged = did.repliesTo === undefined ? await onlyTaken(ports, who) : await repliedTo(ports, who, did.repliesTo)
  const by = clinicianOf(ports.line().clinic, who)
  if (paged === undefined || by === undefined) return wording('telegram-not-written', { desk: ports.desk() })
  const acted = await ports.act(
    paged.caseId,
    { by, deliveryId: `telegram.${did.key}` },
    { kind: 'write', text: did.text },
  )
  return acted.kind === 'done'
    ? wording('telegram-written', { code: paged.code })
    : wording('telegram-not-written', { desk: ports.desk() })
}

async function repliedTo(
  ports: TelegramAnswerPorts,
  who: string,
  data: readonly string[],
): Promise<PagedCase | undefined> {
  const caseId = data.map(one => pressIn(ports.sign, one, who)?.caseId).find(one => one !== undefined)
  return caseId === undefined ? undefined : caseOf(ports, who, caseId)
}

async function onlyTaken(ports: TelegramAnswerPorts, who: string): Promise<PagedCase | undefined> {
  const taken = (await openCases(ports)).filter(({ state }) => state.callout.taken?.by.id === who)
  const [only, ...others] = taken
  return only === undefined || others.length > 0 ? undefined : caseOf(ports, who, only.stored.caseId)
}

/** Whether a person or desk of this id may still act for the clinic. */
export const isThere = ({ line }: Pick<PageAnswerPorts, 'line'>, who: string): boolean => {
  const { clinic } = line()
  return [...peopleThere(clinic), ...clinic.desks].some(({ id }) => id === who)
}
