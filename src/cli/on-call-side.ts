/** What the page *On call* needs, from the bot that runs. */
import { createHash } from 'node:crypto'
import { mayDo } from '../accounts/authority.ts'
import type { CalendarNamed } from '../config/calendar-copy.ts'
import type { OnCallPorts } from '../http/console/on-call-routes.ts'
import { SETTING_KINDS, type SettingsPorts } from '../http/console/settings-routes.ts'
import type { TestCalloutPorts } from '../http/console/test-callout-pages.ts'
import { reachableOf } from '../oncall/clinic.ts'
import type { CalendarFeeds } from './calendar-feeds.ts'
import { calendarSide } from './calendar-side.ts'
import { type ClinicChangesOptions, clinicChanges, undoUntil } from './clinic-changes.ts'
import { changeForm, onCallView } from './on-call-view.ts'
import { pageToken } from './page-link.ts'
import { wayText } from './page-ways.ts'
import { patternView } from './pattern-view.ts'
import type { PhoneWatch } from './phone-watch.ts'
import { settingForm, settingsView } from './settings-view.ts'
import { testCalloutSide } from './test-callout-side.ts'
import type { TestCallouts } from './test-callouts.ts'

export interface OnCallSideOptions extends ClinicChangesOptions {
  readonly callouts: TestCallouts
  readonly calendars: () => readonly CalendarNamed[]
  /** Live calendars, as this process knows them. */
  readonly feeds: () => CalendarFeeds | undefined
  readonly phones: Pick<PhoneWatch, 'saidOf' | 'say'>
  /** Signs the links of test call-outs. */
  readonly key: Buffer
  readonly origin: () => string
  readonly onFault: (error: unknown) => void
}

export function onCallSide(options: OnCallSideOptions): OnCallPorts & TestCalloutPorts & SettingsPorts {
  const { line, now, wording, callouts, phones, key } = options
  const changes = clinicChanges(options)
  const sources = () => ({ line: line(), at: now(), wording, callouts, phones })

  return {
    ...changes,
    view: async (who, month, mayChange) =>
      onCallView(sources(), {
        ...{ month, mayChange, seen: changes.seen(), undo: changes.undoable() },
        mayTest: personId => mayDo(who, 'test-call-out', { personId }),
        numbers: options.desk.read().numbers ?? {},
        maySayNumber: personId => mayDo(who, 'confirm-number', { personId }),
        maySay: personId => mayDo(who, 'confirm-own-phone', { personId }),
      }),
    calendar: calendarSide({ ...options, said: sources }),
    pattern: () => patternView({ line: line(), wording, text: changes.text(), at: now() }),
    havePhone: person => phones.say(person),
    numberIsRight(who, person, number) {
      const { privateNumber } = reachableOf(line().clinic, person) ?? {}
      if (privateNumber === undefined || privateNumber !== number) return false
      const numbers = options.desk.read().numbers ?? {}
      options.desk.change({ numbers: { ...numbers, [person]: { number, at: now(), by: who.name } } })
      return true
    },
    form: async (kind, given) =>
      kind in SETTING_KINDS
        ? settingForm(kind, given, changes.seen(), sources())
        : changeForm(kind, given, changes.seen(), sources()),
    async settings(may) {
      const undo = changes.undoable()
      const said = undo === undefined ? {} : { undo: { sentence: undo.sentence, until: undoUntil(line(), undo) } }
      return { ...settingsView({ line: line(), wording, text: changes.text(), at: now() }, may), ...said }
    },
    async test(_who, person, press) {
      const reached = reachableOf(line().clinic, person)
      if (reached === undefined || reached.pageAt.length === 0) return undefined
      const id = createHash('sha256').update(`test ${person} ${press}`).digest('hex').slice(0, 32)
      if (callouts.of(id) === undefined) send(id, person)
      const ways = reached.pageAt.map(({ pager }) => wayText(pager, wording))
      return wording('on-call-test-started', { name: reached.name, way: ways.join(', ') })
    },
    ...testCalloutSide(options),
  }

  /** Goes out by every way at once; what became of each is kept, and the answer when it comes. */
  function send(id: string, who: string): void {
    const at = now()
    callouts.keep({ id, who, at, ways: [] })
    const link = `${options.origin()}/p/test/${pageToken(key, { caseId: id, to: who, at })}`
    void options.runtime
      .tellPeople({
        to: [who],
        pieces: [wording('on-call-test-page')],
        link: () => link,
        key: `test.${id}`,
        urgency: 'speak',
      })
      .then(told => {
        const kept = callouts.of(id)
        if (kept !== undefined) callouts.keep({ ...kept, ways: told.map(({ pager, outcome }) => ({ pager, outcome })) })
      })
      .catch(options.onFault)
  }
}
