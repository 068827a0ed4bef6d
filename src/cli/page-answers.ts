/** A clinician's answer to a page where no page of the web opens: what a choice does, and what is said of it. */
import { type Line, staffLine } from '../case/line.ts'
import { type CaseState, parseState } from '../case/state.ts'
import { clockOf } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import type { Acted, ActedBy, ClinicianAction } from '../http/action.ts'
import { parkedOf } from '../runtime/parking.ts'
import type { Reads } from '../runtime/runtime.ts'
import type { StoredCase } from '../store/store.ts'
import { after, before, days, type Instant, minutes } from '../time/instant.ts'
import { clinicianOf } from './page-link.ts'

export interface PageAnswerPorts {
  /** The line as it is now. */
  readonly line: () => Line
  /** The line that a stored case is read with. */
  readonly lineOf: (state: string) => Line
  readonly store: Pick<Reads, 'recent'>
  readonly act: (caseId: string, by: ActedBy, action: ClinicianAction) => Promise<Acted>
  readonly wording: Wording
  /** Whom a clinician rings when the page does not help, as one line with its number. */
  readonly desk: () => string
  readonly now: () => Instant
}

/** "Soon" promises a call within this time: the shortest that the case's page offers beside "now". */
export const RINGING_WITHIN = minutes(15)

/** The choices, as they are numbered everywhere. */
export const CHOICES = ['1', '2', '3', '4'] as const
export type Choice = (typeof CHOICES)[number]

/** An open case that one of some people was paged for. */
export interface PagedCase {
  readonly caseId: string
  readonly code: string
  readonly who: string
  readonly takenBy: NonNullable<CaseState['callout']['taken']> | undefined
}

/** The open case for which `isIt` holds and one of `people` was paged; the latest changed, should there be two. */
export async function pagedCase(
  ports: PageAnswerPorts,
  people: readonly string[],
  isIt: (stored: StoredCase, state: CaseState) => boolean,
): Promise<PagedCase | undefined> {
  for (const { stored, state } of await openCases(ports)) {
    if (!isIt(stored, state)) continue
    const who = people.find(id => state.callout.pages.some(({ to }) => to === id))
    const takenBy = state.kernel.callout === 'taken' ? state.callout.taken : undefined
    if (who !== undefined) return { caseId: stored.caseId, code: digitsOf(state.code), who, takenBy }
  }
  return undefined
}

/** Open cases that can be read, the latest changed first. */
export async function openCases({
  store,
  lineOf,
  now,
}: PageAnswerPorts): Promise<readonly { readonly stored: StoredCase; readonly state: CaseState }[]> {
  const recent = await store.recent(before(now(), days(1)))
  return recent
    .filter(stored => !stored.closed && parkedOf(stored.state) === undefined)
    .map(stored => ({ stored, state: parseState(lineOf(stored.state), stored.state) }))
}

/** Does what a choice says, and tells what came of it. `key` makes the same choice twice one. */
export async function answerPaged(
  ports: PageAnswerPorts,
  paged: PagedCase,
  choice: Choice,
  key: string,
): Promise<string> {
  const { caseId, code, who, takenBy } = paged
  const by = clinicianOf(ports.line().clinic, who)
  if (by === undefined) return ports.wording('sms-no-such-case', { code })
  const action = actionOf(choice, ports.now())
  // Nobody passes on what another person has taken.
  if (action.kind === 'pass-on' && takenBy !== undefined && takenBy.by.id !== who)
    return toldOf(ports, code, action, { kind: 'taken-by', name: takenBy.by.name, at: takenBy.at })
  return toldOf(ports, code, action, await ports.act(caseId, { by, deliveryId: key }, action))
}

function actionOf(choice: Choice, at: Instant): ClinicianAction {
  switch (choice) {
    case '1':
      return { kind: 'take', doing: { kind: 'ringing-now' } }
    case '2':
      return { kind: 'take', doing: { kind: 'ringing-by', by: after(at, RINGING_WITHIN) } }
    case '3':
      return { kind: 'take', doing: { kind: 'go-in' } }
    case '4':
      return { kind: 'pass-on' }
  }
}

function toldOf(ports: PageAnswerPorts, code: string, action: ClinicianAction, acted: Acted): string {
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

/** The digits of a case's code. */
export const digitsOf = (code: string): string => code.replaceAll(/\D/g, '')
