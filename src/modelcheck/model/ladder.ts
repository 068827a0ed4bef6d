/**
 * The call-out ladder as a small machine of its own, walked with its times: the running bot's own step, one case, and
 * everything that pagers and clinicians can do to it, at each moment at which something falls due or has just happened.
 * Talk is joined to it only through the page that starts it.
 */

import { PROMISE, RUNG } from '../../case/alarm.ts'
import type { Effect } from '../../case/effect.ts'
import type { CaseEvent, Clinician, Doing } from '../../case/event.ts'
import type { Line } from '../../case/line.ts'
import { type CaseState, openCase } from '../../case/state.ts'
import { step } from '../../case/step.ts'
import type { FlowSet } from '../../flow/flow-set.ts'
import type { Kernel, KernelState } from '../../flow/kernel.ts'
import type { Clinic, Person } from '../../oncall/clinic.ts'
import { ladderTimes } from '../../oncall/ladder.ts'
import { after, type Instant, type Milliseconds } from '../../time/instant.ts'
import type { Finding, LadderReport } from '../rules/findings.ts'

/** What a walk starts from. */
export interface LadderOptions {
  readonly people: number
  readonly urgency: LadderReport['urgency']
  readonly statesMost?: number
  /** The step that is walked; left out: the bot's own. */
  readonly step?: typeof step
}

/** The four promises a clinician can make by what they say they will do. */
const PROMISED_AFTER = 600_000 as Milliseconds

interface Node {
  readonly state: CaseState
  readonly way: Way
}

/** How a node was come to: what happened last, and before that. */
interface Way {
  readonly at: Instant
  readonly line: string
  readonly from: Way | undefined
}

interface Happening {
  readonly event: CaseEvent
  readonly at: Instant
  readonly line: string
}

/** A breach of what the ladder promises, as a sentence; undefined where all is well. */
type Judge = (before: Node, happening: Happening, next: CaseState, effects: readonly Effect[]) => string | undefined

const STATES_MOST = 200_000

/**
 * Walks every order of: nothing, a page given up, a page taken with each kind of promise, passed on, a call made, the
 * promise left to run out, the family saying that somebody rang, a further page wanted, and an outcome.
 *
 * @param base  the line whose settings, flows and words are walked; its clinic is replaced by invented people
 * @throws when the line has no flow that answers the wish for a person
 */
export function walkLadder(base: Line, options: LadderOptions): LadderReport {
  const { people, urgency, statesMost = STATES_MOST, step: stepOf = step } = options
  const line: Line = { ...base, clinic: { ...base.clinic, ...invented(people) }, flows: remembering(base.flows) }
  const start = begun(line, urgency)
  const known = new Set([keyOf(start.state, BEGAN)])
  const queue: (Node | undefined)[] = [start]
  const found = new Map<string, Finding>()
  const judges = [...judgesOf(line)]
  let transitions = 0
  for (let index = 0; index < queue.length && known.size <= statesMost; index++) {
    const here = queue[index] as Node
    // Its way is kept by what follows it; the case itself is needed no more.
    queue[index] = undefined
    for (const happening of happeningsIn(here, line.clinic.people)) {
      transitions++
      const { state, effects } = stepOf(line, here.state, happening.event, happening.at)
      const way: Way = { at: happening.at, line: happening.line, from: here.way }
      for (const [rule, judge] of judges) {
        const says = found.has(rule) ? undefined : judge(here, happening, state, effects)
        if (says !== undefined) found.set(rule, finding(rule, says, way))
      }
      const key = keyOf(state, happening.at)
      if (known.has(key)) continue
      known.add(key)
      queue.push({ state, way })
    }
  }
  return { people, urgency, states: known.size, transitions, findings: [...found.values()] }
}

/** The same flows, whose machine is stepped once for the same state and event: most orders of a ladder come to the same ones. */
function remembering(set: FlowSet): FlowSet {
  const flows = [...set.flows].map(([id, flow]) => [id, { ...flow, kernel: stepsOnce(flow.kernel) }] as const)
  return { ...set, flows: new Map(flows) }
}

function stepsOnce(kernel: Kernel): Kernel {
  const steppedFrom = new WeakMap<KernelState, Map<string, ReturnType<Kernel['step']>>>()
  return {
    ...kernel,
    step(state, event) {
      const stepped = steppedFrom.get(state) ?? new Map<string, ReturnType<Kernel['step']>>()
      steppedFrom.set(state, stepped)
      const key = JSON.stringify(event)
      const found = stepped.get(key) ?? kernel.step(state, event)
      stepped.set(key, found)
      return found
    },
  }
}

function invented(count: number): Pick<Clinic, 'people' | 'ladder'> {
  const people: Person[] = Array.from({ length: count }, (_, index) => ({
    kind: 'person',
    id: `clinician-${index + 1}`,
    name: `Clinician ${index + 1}`,
    job: 'on call',
    clinician: true,
    pageAt: [{ pager: 'board', address: '' }],
  }))
  return { people, ladder: people.map(({ id }) => ({ when: { kind: 'always' }, kind: 'person', id })) }
}

const BEGAN = 1_767_225_600_000 as Instant

/** A case whose ladder has just begun, with nothing else going on. */
function begun(line: Line, urgency: LadderReport['urgency']): Node {
  const concern = pagingAtOnce(line.flows)
  const opened = openCase(line, {
    caseId: 'ladder',
    chat: { channel: 'terminal', chat: 'ladder' },
    at: BEGAN,
    code: 'Mon 0000',
    concern,
  })
  const event: CaseEvent =
    urgency === 'urgent' ? { kind: 'caseOpened', concern, danger: ['breathing'] } : { kind: 'caseOpened', concern }
  const first = step(line, opened, event, BEGAN).state
  const paged =
    first.callout.startedAt === undefined ? step(line, first, { kind: 'personWanted', said: '' }, BEGAN).state : first
  if (paged.callout.startedAt === undefined) throw new Error('no page came of a wish for a person')
  return { state: quiet(paged), way: { at: BEGAN, line: 'a page is wanted', from: undefined } }
}

/** A concern whose first step pages: in any other the page comes late, and more urgent than was asked for. The first where there is none. */
export function pagingAtOnce({ flows }: FlowSet): string {
  const found = [...flows].find(([, { start, steps }]) => steps.get(start)?.page !== undefined) ?? [...flows][0]
  return found?.[0] ?? ''
}

/** Without the alarms of talk: they are looked at with the flows. */
function quiet(state: CaseState): CaseState {
  const { [RUNG]: rung, [PROMISE]: promise } = state.alarms
  return {
    ...state,
    alarms: {
      ...(rung === undefined ? {} : { [RUNG]: rung }),
      ...(promise === undefined ? {} : { [PROMISE]: promise }),
    },
  }
}

const clinicianOf = ({ id, name, job }: Person): Clinician => ({ id, name, role: job })

/** What can happen next: at once, and when the next alarm falls due. */
function happeningsIn({ state, way: { at } }: Node, people: readonly Person[]): Happening[] {
  const { callout, kernel } = state
  const stage = kernel.callout
  const list: Happening[] = []
  const add = (event: CaseEvent, line: string, when = at) => list.push({ event, at: when, line })
  for (const name of [RUNG, PROMISE]) {
    const alarm = state.alarms[name]
    const why = name === RUNG ? 'nobody has answered' : 'the promised call has not come'
    if (alarm !== undefined) add({ kind: 'alarmDue', name, due: alarm.due }, why, alarm.due)
  }
  const last = callout.pages.at(-1)
  if (last !== undefined && last.outcome === 'sent') {
    add({ kind: 'pageSettled', pageId: '', to: last.to, outcome: 'given-up' }, 'the page cannot be delivered')
    add({ kind: 'pageSettled', pageId: '', to: last.to, outcome: 'accepted' }, 'the page is delivered')
  }
  const paged = people.filter(person => callout.pages.some(page => page.to === person.id))
  for (const person of paged) {
    const by = clinicianOf(person)
    const doings: Doing[] = [
      { kind: 'ringing-now' },
      { kind: 'ringing-by', by: after(at, PROMISED_AFTER) },
      { kind: 'go-in' },
    ]
    if (stage !== 'settled')
      for (const doing of doings) add({ kind: 'pageAcknowledged', by, doing }, `${person.name} takes it: ${doing.kind}`)
    if (callout.taken?.by.id === person.id && (stage === 'taken' || stage === 'broken' || stage === 'spoken')) {
      add({ kind: 'passedOn', by }, `${person.name} passes it on`)
      add({ kind: 'callMade', by }, `${person.name} has rung`)
      add({ kind: 'outcomeSet', by, outcome: 'seen', doNotWrite: false }, `${person.name} sets an outcome`)
    }
  }
  add({ kind: 'familyRungSaid' }, 'the family says that somebody rang')
  add({ kind: 'personWanted', said: '' }, 'the family wants a person')
  return list
}

/** Two cases with one key go on alike: stages, who was paged, whom it stands at, and how far alarms are away. */
function keyOf({ callout, kernel, alarms }: CaseState, at: Instant): string {
  const away = (name: string) => (alarms[name] === undefined ? '-' : alarms[name].due - at)
  const last = callout.pages.at(-1)
  return [
    kernel.callout,
    callout.urgency,
    away(RUNG),
    away(PROMISE),
    Math.min(at - (callout.startedAt ?? at), LONG_AGO),
    [...new Set(callout.pages.map(page => page.to))].sort().join(),
    `${last?.to} ${last?.outcome}`,
    callout.taken?.by.id,
    callout.everyoneAt !== undefined,
    callout.familyRangAt !== undefined,
  ].join(' ')
}

/** Past this the time since the first page changes nothing any more: all steps of the ladder lie behind. */
const LONG_AGO = 3_600_000

const PAGING: ReadonlySet<string> = new Set(['first', 'again', 'next', 'everyone', 'broken'])

function judgesOf(line: Line): ReadonlyMap<string, Judge> {
  const timesOf = (state: CaseState) => ladderTimes(state.callout.urgency, line.settings)
  return new Map<string, Judge>([
    [
      'a-page-moves-on',
      (_before, { at }, next) => {
        if (!PAGING.has(next.kernel.callout)) return undefined
        const due = next.alarms[RUNG]?.due
        if (due === undefined) return 'Nobody has taken the case, and nothing is set that would page again.'
        return due - at > timesOf(next).lastAfter ? 'The next page comes later than the ladder allows.' : undefined
      },
    ],
    [
      'all-are-paged-in-time',
      ({ state }, { at }, next) => {
        if (next.kernel.callout !== 'everyone' || state.callout.everyoneAt !== undefined) return undefined
        const missing = next.callout.ladder.find(id => !next.callout.pages.some(page => page.to === id))
        if (missing !== undefined) return 'The last rung has come, and somebody on the ladder was never paged.'
        const isFirst = state.callout.taken === undefined
        const late = at - (next.callout.startedAt ?? at) > timesOf(next).lastAfter
        return isFirst && late ? 'The last rung comes later than the ladder allows.' : undefined
      },
    ],
    [
      'the-family-is-told-that-nobody-answers',
      ({ state }, _happening, next, effects) => {
        if (next.kernel.callout !== 'everyone' || state.callout.everyoneAt !== undefined) return undefined
        const said = saidIn(effects)
        return said.some(id => id === 'nobody-answered' || id === 'nobody-on-call')
          ? undefined
          : 'Nobody has answered, and the family is not told.'
      },
    ],
    [
      'taken-is-said-of-a-person',
      (_before, { event }, _next, effects) =>
        event.kind !== 'pageAcknowledged' && saidIn(effects).some(id => id.startsWith('taken-'))
          ? 'The family is told that a clinician has the case, and no clinician has said so.'
          : undefined,
    ],
    [
      'they-rang-is-no-acknowledgement',
      ({ state }, { event }, next) =>
        event.kind === 'familyRungSaid' && next.kernel.callout !== state.kernel.callout
          ? 'The family says that somebody rang, and the ladder takes it for an answer.'
          : undefined,
    ],
    [
      'a-promise-is-watched',
      (_before, _happening, next) =>
        next.kernel.callout === 'taken' && next.alarms[PROMISE] === undefined && next.callout.familyRangAt === undefined
          ? 'A clinician has promised to ring, and nothing is set for when they do not.'
          : undefined,
    ],
    [
      'a-broken-promise-is-paged-and-told',
      (_before, { event }, _next, effects) => {
        if (event.kind !== 'alarmDue' || event.name !== PROMISE) return undefined
        if (!effects.some(effect => effect.kind === 'page'))
          return 'The promised call has not come, and nobody is paged.'
        return saidIn(effects).includes('promise-broken')
          ? undefined
          : 'The promised call has not come, and the family is not told.'
      },
    ],
    [
      'a-lost-page-moves-the-ladder',
      ({ state }, { event }, next) => {
        if (event.kind !== 'pageSettled' || event.outcome !== 'given-up') return undefined
        const stage = state.kernel.callout
        const isWaiting = stage === 'first' || stage === 'again' || stage === 'next'
        return isWaiting && next.kernel.callout === stage
          ? 'A page cannot be delivered, and the ladder waits for it.'
          : undefined
      },
    ],
  ])
}

function saidIn(effects: readonly Effect[]): string[] {
  return effects.flatMap(effect =>
    effect.kind === 'reply' ? effect.parts.flatMap(part => (part.kind === 'say' ? [part.id] : [])) : [],
  )
}

function finding(rule: string, says: string, last: Way): Finding {
  const lines: string[] = []
  for (let at: Way | undefined = last; at !== undefined; at = at.from) {
    lines.push(`${Math.round((at.at - BEGAN) / 60_000)} min: ${at.line}`)
  }
  return { rule, kind: 'built-in', flow: '', policies: {}, says, way: [], resume: 'return', lines: lines.reverse() }
}

/** Ladders of none to three people, urgent and not: those that are walked. */
export const LADDERS: readonly Pick<LadderReport, 'people' | 'urgency'>[] = [0, 1, 2, 3].flatMap(people =>
  (['urgent', 'speak'] as const).map(urgency => ({ people, urgency })),
)

export const walkLadders = (base: Line): readonly LadderReport[] => LADDERS.map(which => walkLadder(base, which))
