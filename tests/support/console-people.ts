import { ROLES, type Role } from '../../src/accounts/authority.ts'
import type { SignedIn } from '../../src/accounts/signed-in.ts'
import type { ConsolePorts } from '../../src/http/console/console.ts'

/** Somebody signed in, in these roles. */
export const someone = (roles: readonly Role[] = ROLES, isOnCall = true): SignedIn => ({
  personId: 'amara',
  name: 'Amara Osei',
  roles,
  isOnCall,
  sessionId: 's1',
  how: 'password',
})

/** A page *Flows* with one part. */
export const oneFlow = (did: (what: string) => void): ConsolePorts['flows'] => {
  const row = { id: 'skin', title: 'what the flow "skin" says', standing: 'Nobody has approved it.', isApproved: false }
  return {
    parts: async () => [row],
    part: async (id, may) =>
      id === row.id
        ? {
            ...{ ...row, hash: 'a'.repeat(64), languages: ['en'], sheets: 1, checked: ['It holds.'] },
            mayApprove: may.approve,
            mayWithdraw: may.withdraw,
          }
        : undefined,
    words: async (id, language) =>
      id === row.id && language === 'en'
        ? { ...row, hash: 'a'.repeat(64), words: { language, advice: [], others: [] }, sources: [] }
        : undefined,
    conversation: async (id, situation) =>
      id === row.id && situation === 'sore-skin'
        ? {
            ...{ part: id, id: situation, title: 'Sore skin', isLowered: true },
            was: ['Speak to a clinician now'],
            is: ['Care at home'],
            wasLines: [{ text: 'We page them.', isFamily: false, isOwn: true }],
            isLines: [{ text: 'her skin is sore', isFamily: true, isOwn: false }],
          }
        : undefined,
    sheet: (_id, number) => (number === 1 ? '<svg xmlns="http://www.w3.org/2000/svg"/>' : undefined),
    async approve(_who, part, hash, languages) {
      did(`approve ${part} ${hash.length} ${languages.join()}`)
      return { isDone: true, says: 'Approved.' }
    },
    async withdraw(_who, part, why) {
      did(`withdraw ${part} ${why}`)
      return { isDone: false, says: 'Nobody has approved it.' }
    },
  }
}

/** A page *On call* of a clinic without anybody, which writes down what was asked of it. */
export const noOnCall = (did: (what: string) => void): ConsolePorts['onCall'] => ({
  view: async (_who, month, mayChange) => ({
    ...{ now: [], wrong: [], people: [], ladder: [], lines: [], seen: 'a', mayChange },
    month: { id: month ?? '', title: 'March', before: '', after: '', days: [] },
  }),
  pattern: () => ({ ladder: ['Day desk'], roles: [] }),
  form: async (kind, values) => ({ kind, seen: 'a', people: [], roles: [], shifts: [], values }),
  async look() {
    did('look')
    return { kind: 'refused', because: 'Nothing.', seen: 'a' }
  },
  async save() {
    did('save')
    return { kind: 'saved' }
  },
  async undo() {
    did('undo')
    return 'done'
  },
  havePhone(person) {
    did(`phone ${person}`)
    return person === 'amara'
  },
  async test() {
    did('test')
    return 'Sent.'
  },
  settings: async () => ({ numbers: [], hospitals: [], hours: [], kept: { label: 'Kept', value: 'P90D' }, groups: [] }),
  testOf: () => undefined,
  answer: () => false,
})

/** A page of the audit trail without a line. */
export const noTrail = (did: (what: string) => void): ConsolePorts['trail'] => ({
  trail: async asked => ({ verified: { isWhole: true, says: ['Whole.'] }, people: [], deeds: [], asked, rows: [] }),
  async exported({ personId }) {
    did(`exported ${personId}`)
    return ''
  },
})
