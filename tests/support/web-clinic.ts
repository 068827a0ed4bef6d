import type { CaseView } from '../../src/case/view.ts'
import type { Acted, ActedBy, ClinicianAction } from '../../src/http/action.ts'
import type { BoardView } from '../../src/http/board-page.ts'
import type { ClinicianPorts } from '../../src/http/clinician-pages.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { screenWording } from './screen-words.ts'
import { advice, clockText } from './web-family.ts'

export const clinicNow = instant(Date.parse('2026-03-01T02:19:00Z'))
const at = (clock: string): Instant => instant(Date.parse(`2026-03-01T${clock}:00Z`))

/** An invented case as the clinician meets it. */
export const caseView: CaseView = {
  caseId: 'case-1',
  code: 'Sun 4719',
  concern: 'tube-out',
  openedAt: at('02:09'),
  closed: false,
  headline: 'Go to hospital, told 2:13 am',
  disposition: 'set-out',
  callout: { sentence: 'Paged R. Example at 2:13 am, next person at 2:23 am', state: 'paging' },
  handover: {
    situation: ['Tube out since 1:30 to 1:45 am', 'No danger signs'],
    background: ['First tube, 3 weeks: new opening', 'Long tube with balloon'],
    assessment: ['Opening may close from 2:30 am'],
    recommendation: ['Go in: nobody at home may put a tube in'],
    readBack: ['Say back: case Sun 4719, out since 1:30 am, new opening'],
  },
  answers: [
    { fact: 'danger-signs', label: 'Danger signs', answer: 'None of these', at: at('02:12'), changed: true },
    { fact: 'out-since', label: 'Out since', answer: '1:30 to 1:45 am', at: at('02:13'), changed: false },
  ],
  notAsked: ['Was a feed running'],
  told: [
    { at: at('02:09'), speaker: { kind: 'family' }, parts: [], said: 'his tube is out', reached: 'received' },
    {
      at: at('02:09'),
      speaker: { kind: 'bot' },
      parts: [
        advice('a-cover', 'Cover the opening with a clean, dry cloth.'),
        { kind: 'notice', id: 'n', text: 'A few short questions come next.' },
      ],
      reached: 'delivered',
    },
    {
      at: at('02:14'),
      speaker: { kind: 'bot' },
      parts: [advice('a-go', 'Please leave for the hospital now.')],
      reached: 'unknown',
    },
  ],
  coming: [
    { name: 'left-check', due: at('02:24'), says: 'Have you left?' },
    { name: 'arrival-check', due: at('02:50'), says: 'Have you arrived?' },
  ],
  notes: [],
  marks: ['Driving: ring, do not write'],
  ringBack: '+12025550142',
}

const board: BoardView = {
  isNight: true,
  rows: [
    {
      code: 'Sun 2200',
      headline: 'Care at home',
      callout: 'Outcome set',
      marks: [],
      closed: true,
      nextAt: at('02:00'),
    },
    {
      code: 'Sun 3301',
      headline: 'Speak to a clinician',
      callout: 'Paged at 2:15 am',
      next: 'repeat at 2:25 am',
      nextAt: at('02:25'),
      marks: [],
      closed: false,
      link: '/p/token-speak',
    },
    {
      code: 'Sun 4719',
      headline: 'Go to hospital',
      callout: 'Taken by R. Example',
      next: 'call promised by 2:20 am',
      nextAt: at('02:20'),
      marks: ['Driving: ring, do not write'],
      closed: false,
      link: '/p/token-good',
    },
    { code: 'Sun 5502', headline: 'Nothing due', callout: 'Spoken to', marks: [], closed: false },
  ],
  pages: [
    {
      at: at('02:13'),
      to: 'R. Example',
      by: 'e-mail',
      text: 'GO TO HOSPITAL, told 02:13. Tube out since 01:30.',
      outcome: 'accepted',
      link: '/p/token-good',
    },
  ],
}

export interface WebClinic {
  readonly ports: ClinicianPorts
  readonly acts: { caseId: string; acted: ActedBy; action: ClinicianAction }[]
  readonly opened: string[]
  answerWith(acted: Acted): void
  failWith(error: unknown): void
}

/** The clinician's side in memory: records what was pressed. */
export function webClinic(over: Partial<ClinicianPorts> = {}, view: CaseView = caseView): WebClinic {
  const acts: WebClinic['acts'] = []
  const opened: string[] = []
  let answer: Acted = { kind: 'done' }
  let failure: unknown
  let ids = 0
  return {
    acts,
    opened,
    answerWith(acted) {
      answer = acted
    },
    failWith(error) {
      failure = error
    },
    ports: {
      case: async caseId => (caseId === view.caseId ? view : undefined),
      async openByToken(token) {
        opened.push(token)
        if (failure !== undefined) throw failure
        if (token === 'token-good')
          return { caseId: 'case-1', clinician: { id: 'r-example', name: 'R. Example', role: 'on-call nurse' } }
        return token === 'token-old' ? 'expired' : 'unknown'
      },
      async act(caseId, acted, action) {
        acts.push({ caseId, acted, action })
        return answer
      },
      board: async () => board,
      now: () => clinicNow,
      clockText,
      randomId: () => `id-${String(++ids).padStart(24, '0')}`,
      wording: screenWording,
      quickLines: () => [
        { id: 'q-ring-soon', text: 'I will ring you in a few minutes.' },
        { id: 'q-go', text: 'Please leave for the hospital now.' },
      ],
      outcomes: () => [
        { id: 'tube-back', label: 'A tube is back in' },
        { id: 'admitted', label: 'Admitted' },
      ],
      desk: () => ({ label: 'Switchboard', number: '+12025550166', shown: '202-555-0166' }),
      demonstration: true,
      ...over,
    },
  }
}
