import { ROLES, type Role } from '../../src/accounts/authority.ts'
import type { SignedIn } from '../../src/accounts/signed-in.ts'
import type { ConsolePorts } from '../../src/http/console/console.ts'
import { HIDDEN } from '../../src/review/figure-table.ts'
import { shippedRubric } from './review-parts.ts'
import { screenWording } from './screen-words.ts'

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
            ...{
              ...row,
              hash: 'a'.repeat(64),
              languages: [{ id: 'en', name: 'English' }],
              sheets: 1,
              checked: ['It holds.'],
            },
            mayApprove: may.approve,
            mayWithdraw: may.withdraw,
          }
        : undefined,
    words: async (id, language) =>
      id === row.id && language === 'en'
        ? { ...row, hash: 'a'.repeat(64), words: { language, advice: [], others: [] }, called: 'English', sources: [] }
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
  calendar: {
    calendars: mayChange => ({ calendars: [], roles: [], mayChange }),
    async read({ role, address, text }) {
      did(`calendar ${role} ${address} ${text.length}`)
      return { kind: 'ready', draft: 'a'.repeat(32) }
    },
    readLive: async () => ({ kind: 'refused', because: 'Nothing.' }),
    async ignore(draft, titles) {
      did(`calendar ${draft} without ${titles.join()}`)
      return { kind: 'refused', because: 'Nothing.' }
    },
    async refresh(role) {
      did(`calendar look ${role}`)
      return 'Read.'
    },
  },
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
  numberIsRight: () => true,
  units: [],
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

/** The case that {@link oneReview} has. */
export const REVIEWED = '0123456789abcdef0123456789abcdef'

/** Pages *Reviews* with one case of two steps, scored only when all is filled in that they look at. */
export const oneReview = (did: (what: string) => void): ConsolePorts['reviews'] => {
  const moments = [
    { clock: '02:10', since: 'after 0 min', happened: 'FAMILY: about tube-out', decided: ['- Cover the opening.'] },
    { clock: '02:11', since: 'after 1 min', happened: 'FAMILY: device: not sure', decided: [] },
  ]
  const table = {
    ...{ id: 'hours', title: 'Cases <b>by hour</b>', says: 'Few.', head: ['hour', 'all'] },
    ...{
      rows: [
        ['00–01', 7],
        ['01–02', HIDDEN],
      ],
      plot: { kind: 'bars' as const, column: 1 },
    },
  }
  return {
    async queue(_who, month) {
      did(`queue ${month}`)
      return {
        ...{ months: [{ month: '2026-03', says: '40 cases' }], month: '2026-03', drawn: 'Seed: a1b2', mayDraw: false },
        ...{ rows: [{ caseId: REVIEWED, number: 1, why: 'danger sign', standing: 'Two are waited for.' }], further: 2 },
      }
    },
    async draw(_who, month) {
      did(`draw ${month}`)
      return { isDone: true, says: 'Drawn.' }
    },
    reviewed: async (_who, caseId, step = 2) =>
      caseId === REVIEWED
        ? {
            ...{ caseId, number: 1, month: '2026-03', step, of: 2, moments: moments.slice(0, step), sheets: 1 },
            ...{
              rubric: shippedRubric,
              notNow: undefined,
              scores: [],
              mayAct: { people: [{ id: 'linh', name: 'Linh Tran' }], today: '2026-04-02' },
            },
          }
        : undefined,
    sheet: async (_caseId, number) => (number === 1 ? '<svg xmlns="http://www.w3.org/2000/svg"/>' : undefined),
    async score(_who, caseId, fields) {
      did(`score ${caseId.slice(0, 4)}`)
      return fields.has('safe') ? { isDone: true, says: '' } : { isDone: false, says: 'Still to do.' }
    },
    months: () => ['2026-03'],
    report: async () => [table],
    figures: async () => [table],
    actions: async () => ({
      open: [{ number: 1, caseId: REVIEWED, says: 'Ask about the device first', line: 'Linh Tran, by 2026-04-30' }],
      ended: [],
    }),
    async addAction(_who, caseId, fields) {
      did(`action ${caseId.slice(0, 4)}`)
      return fields.has('owner') ? { isDone: true, says: '' } : { isDone: false, says: 'Choose who.' }
    },
    async endAction(_who, number, fields) {
      did(`end ${number}`)
      return fields.has('how') ? { isDone: true, says: '' } : { isDone: false, says: 'Say how.' }
    },
  }
}

/** All that a console stands on, with nothing going on; tests put in what they look at. */
export function consoleBeside(did: (what: string) => void): Omit<ConsolePorts, 'signedIn' | 'now'> {
  let drawn = 0
  return {
    wording: screenWording,
    desk: () => ({ label: 'Switchboard', number: '+12025550166' }),
    randomId: () => `random-${++drawn}`,
    demonstration: true,
    refused: async (_who, action) => did(`refused ${action}`),
    clockText: at => new Date(at).toISOString().slice(11, 16),
    tonight: {
      view: async () => {
        throw new Error('no test looks at it')
      },
      casePath: async () => undefined,
      giveForDay: async () => 'nobody',
      signOver: async () => [],
      sheet: async () => ({ heading: 'Tonight', printed: '', people: [], ladder: [], numbers: [], cases: [] }),
      notice: () => undefined,
      judge: async () => 'nothing',
      setNotice: async () => {},
      noticeShown: () => [],
    },
    onCall: noOnCall(did),
    flows: oneFlow(did),
    trail: noTrail(did),
    reviews: oneReview(did),
  }
}
