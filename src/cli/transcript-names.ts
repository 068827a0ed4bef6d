import { createHmac } from 'node:crypto'
import { KEEPS_ALL, type Names, TAKEN_OUT } from '../replay/names.ts'
import type { Keepable } from '../replay/transcript.ts'

/** A number from the range that is kept for fiction. */
const NO_NUMBER = '+12125550100'

/**
 * The names of a transcript. Made with the key of the data folder (HMAC-SHA-256, 64 bits shown): the same in every file of this
 * clinic, and nobody without the key finds the id by trying all.
 *
 * @param desks  ids of desks: they are no persons and keep them
 */
export function transcriptNames(key: Buffer, kept: readonly Keepable[], desks: ReadonlySet<string>): Names {
  const keyed = (mark: string, text: string) =>
    `${mark}-${createHmac('sha256', key).update(`transcript ${mark} ${text}`).digest('hex').slice(0, 16)}`
  const keepsNames = kept.includes('names')
  const keepsNumbers = kept.includes('numbers')
  const hidden: Names = {
    case: id => keyed('c', id),
    family: (channel, chat) => keyed('f', `${channel} ${chat}`),
    person: id => (desks.has(id) || id === 'machine' ? id : keyed('p', id)),
    personName: () => 'somebody of the clinic',
    clinic: () => 'the clinic',
    number: () => NO_NUMBER,
    words: said => (said === '' ? '' : TAKEN_OUT),
    familyNumber: (caseId, number) => keyed('n', `${caseId} ${number}`),
  }
  return {
    ...hidden,
    ...(kept.includes('words') ? { words: KEEPS_ALL.words } : {}),
    ...(keepsNames
      ? {
          case: KEEPS_ALL.case,
          family: KEEPS_ALL.family,
          person: KEEPS_ALL.person,
          personName: KEEPS_ALL.personName,
          clinic: KEEPS_ALL.clinic,
        }
      : {}),
    ...(keepsNumbers ? { number: KEEPS_ALL.number, familyNumber: KEEPS_ALL.familyNumber } : {}),
  }
}
