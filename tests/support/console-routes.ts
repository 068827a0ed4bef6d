import { consolePages } from '../../src/http/console/console.ts'
import type { GatedRoute } from '../../src/http/gate.ts'
import { instant } from '../../src/time/instant.ts'
import { consoleBeside } from './console-people.ts'

/** Every protected route of the clinic's pages, from the code that serves them. */
export function consoleRoutes(): readonly GatedRoute[] {
  const nothing = async () => {
    throw new Error('nothing is asked here')
  }
  return consolePages({
    ...consoleBeside(() => undefined),
    signedIn: async () => undefined,
    now: () => instant(0),
    tonight: {
      ...{ view: nothing, casePath: nothing, giveForDay: nothing, judge: () => undefined, signOver: nothing },
      ...{ sheet: nothing, notice: () => undefined, setNotice: nothing, noticeShown: () => [] },
    },
  }).routes
}

/** Where a page is opened in a browser on the demonstration: its address, or why it is not among those that are looked at. */
const ADDRESSES: Readonly<Record<string, { readonly open: string } | { readonly elsewhere: string }>> = {
  '/now': { open: '/now' },
  '/now/print': { open: '/now/print' },
  '/now/notice': { open: '/now/notice' },
  '/now/open/:caseId': { elsewhere: 'leads on to the page of the case: tests/browser/clinician.test.ts' },
  '/on-call': { open: '/on-call' },
  '/on-call/pattern': { open: '/on-call/pattern' },
  '/on-call/calendar': { open: '/on-call/calendar' },
  '/on-call/change/calendar': { elsewhere: 'needs a calendar that was given: tests/whole/console-browser.test.ts' },
  '/on-call/change/calendar-stop': { elsewhere: 'needs a calendar that is followed: the same' },
  '/on-call/change/calendar-out': { elsewhere: 'the same' },
  '/on-call/change/cover': { open: '/on-call/change/cover' },
  '/on-call/change/swap': { open: '/on-call/change/swap' },
  '/on-call/change/leave': { open: '/on-call/change/leave' },
  '/on-call/change/number': { open: '/on-call/change/number' },
  '/on-call/change/take-back': { open: '/on-call/change/take-back?section=changes&line=0' },
  '/on-call/change/weekly': {
    open: '/on-call/change/weekly?role=second&day=monday&index=0&who=yusuf&starts=08:00&ends=08:00',
  },
  '/on-call/change/rung': { open: '/on-call/change/rung?rung=1&act=earlier' },
  '/on-call/change/rung-new': { open: '/on-call/change/rung-new' },
  '/on-call/change/shift-new': { open: '/on-call/change/shift-new?role=first' },
  '/on-call/change/shift-out': { open: '/on-call/change/shift-out?role=first&day=monday&index=0' },
  '/on-call/change/role-new': { open: '/on-call/change/role-new' },
  '/settings': { open: '/settings' },
  '/settings/change/setting': { open: '/settings/change/setting?id=left-check&value=PT10M' },
  '/settings/change/families-number': { open: '/settings/change/families-number?which=transport&number=911' },
  '/settings/change/hospital': { open: '/settings/change/hospital?id=harbour&number=911' },
  '/settings/change/hours': { open: '/settings/change/hours?day=monday&value=08:00-18:00' },
  '/settings/change/date': { open: '/settings/change/date' },
  '/settings/change/retention': { open: '/settings/change/retention?value=P90D' },
  '/flows': { open: '/flows' },
  '/flows/:part': { open: '/flows/skin' },
  '/flows/:part/words/:language': { open: '/flows/skin/words/es' },
  '/flows/:part/conversations/:situation': { elsewhere: 'needs what was approved: tests/whole/real-clinic.test.ts' },
  '/flows/:part/picture/:number': { elsewhere: 'a picture, no page' },
  '/trail': { open: '/trail' },
  '/reviews': { open: '/reviews' },
  '/reviews/case/:caseId': { elsewhere: 'needs cases that were drawn: tests/browser/reviews.test.ts' },
  '/reviews/case/:caseId/picture/:number': { elsewhere: 'a picture, no page' },
  '/reviews/actions': { open: '/reviews/actions' },
  '/reviews/report': { open: '/reviews/report' },
  '/reviews/figures': { open: '/reviews/figures' },
}

/** Every page of the clinic's side that is opened in a browser; throws for one that nobody has said how to open. */
export function consoleAddresses(): readonly string[] {
  return consoleRoutes()
    .filter(({ method }) => method === 'GET')
    .flatMap(({ path }) => {
      const known = ADDRESSES[path]
      if (known === undefined)
        throw new Error(`${path}: say in console-routes.ts how it is opened, or where it is looked at`)
      return 'open' in known ? [known.open] : []
    })
}
