import type { Page } from '../../src/pagers/pager.ts'
import { instant } from '../../src/time/instant.ts'

/** An invented page about an invented child nobody names. */
export function aPage(more: Partial<Page> = {}): Page {
  const link = 'https://clinic.example/p/7KQ2M9XD'
  return {
    key: 'case-1/4/0#0',
    caseId: 'case-1',
    code: 'Sun 4719',
    to: { id: 'first', name: 'Dr Example' },
    address: 'on-call@clinic.example',
    text: `GO TO HOSPITAL, told 02:13. Tube out since 01:30-01:45. First tube, 3 weeks: new opening. Case Sun 4719. ${link}`,
    link,
    urgency: 'set-out',
    kind: 'page',
    at: instant(Date.UTC(2031, 2, 4, 2, 13, 20)),
    repeated: false,
    ...more,
  }
}
