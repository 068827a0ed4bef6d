/**
 * Every vignette gone on in every way: each of its questions answered otherwise, silence at its end, leaving, refusing to travel,
 * each answer changed, a clinician who takes it. Played by the step that serves, on the flow's tables, with nothing around it: a
 * thousand ways a second. Two flows that tell, ask, page and note the same on all of them differ in nothing that a family of these
 * situations could meet.
 */
import { createHash } from 'node:crypto'
import { join } from 'node:path'
import type { Answer } from '../../src/case/answer.ts'
import type { Effect, Saying } from '../../src/case/effect.ts'
import type { CaseEvent, Clinician, InLanguage } from '../../src/case/event.ts'
import { flowOf, type Line } from '../../src/case/line.ts'
import { type CaseState, openCase } from '../../src/case/state.ts'
import { step } from '../../src/case/step.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { readVignettes, type Vignette } from '../../src/cli/vignette-file.ts'
import { runVignette, type VignetteRun } from '../../src/cli/vignette-run.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { problemText } from '../../src/flow/problem.ts'
import { seeded } from '../../src/measure/seeded.ts'
import { policiesRead } from '../../src/modelcheck/rules/check-flows.ts'
import { everyAnswer } from '../../src/replay/every-answer.ts'
import { onTables } from '../../src/replay/table-kernel.ts'
import type { Random } from '../../src/runtime/clock.ts'
import { after, hours, type Instant, instant, seconds } from '../../src/time/instant.ts'
import { ROOT } from './clone.ts'
import { type Meeting, meetingRows } from './near-misses.ts'

type Event = CaseEvent & InLanguage
/** A line that may tell of the rows a way comes through. */
type WalkedLine = Line & { readonly meeting?: Meeting }

/** One case of a vignette as the whole bot played it: what happened, not what was decided. */
export interface Situation {
  readonly id: string
  readonly settings: Line['settings']
  readonly opening: Parameters<typeof openCase>[1] & { readonly serial: number }
  readonly happened: readonly { readonly event: Event; readonly at: Instant }[]
}

/** A way that a situation goes, and all that it comes to. */
export interface Way {
  readonly name: string
  readonly told: readonly string[]
  /** What it tells of the rows it came through; nothing where the line does not tell. */
  readonly met: ReadonlySet<string>
  /** Steps that talk came through. */
  readonly entered: ReadonlySet<string>
}

/** The way in which nobody does otherwise than the vignette says. */
export const AS_IT_WAS = 'as it was'

const CLINICIAN: Clinician = { id: 'amara', name: 'Amara Osei', role: 'on-call' }
/** How long silence lasts, at most so many alarms long. */
const SILENCE = hours(12)
const ALARMS_MOST = 60
const QUESTIONS_MOST = 40
/** Ways by chance, every second with all locks open. */
const DRAWN = 120
/** Between a question and its answer. */
const THINKING = seconds(20)

/** The demonstration's line and every vignette of the tests. */
export function shippedVignettes(): { readonly loaded: LoadedLine; readonly vignettes: readonly Vignette[] } {
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: instant(Date.parse('2026-03-01T07:00:00Z')) })
  if (loaded === undefined) throw new Error('the demonstration cannot be loaded')
  const { vignettes, problems } = readVignettes([join(ROOT, 'tests/vignettes')], loaded.line)
  if (problems.length > 0) throw new Error(problems.map(problemText).join('\n'))
  return { loaded, vignettes }
}

/** A vignette through the whole bot, with its cases as they happened. */
export async function playedSituations(
  loaded: LoadedLine,
  vignette: Vignette,
): Promise<{ readonly run: VignetteRun; readonly situations: readonly Situation[] }> {
  const cases = new Map<string, { opened: CaseState; happened: { event: Event; at: Instant }[] }>()
  const run = await runVignette(loaded, vignette, (before, event, at) => {
    const known = cases.get(before.caseId) ?? { opened: before as CaseState, happened: [] }
    known.happened.push({ event, at })
    cases.set(before.caseId, known)
  })
  const situations = [...cases.values()].map(({ opened, happened }, index) => ({
    id: index === 0 ? vignette.id : `${vignette.id}/${index + 1}`,
    settings: vignette.settings,
    opening: openingOf(opened),
    happened,
  }))
  return { run, situations }
}

function openingOf({ caseId, chat, openedAt, code, concern, language, serial }: CaseState): Situation['opening'] {
  return { caseId, chat, at: openedAt, code, concern, serial, ...(language === undefined ? {} : { language }) }
}

/** The line on the tables of its flows, or of others. */
export const lineOn = ({ line }: LoadedLine, flows: FlowSet): Line => ({ ...line, flows: onTables(flows) })

/** The line on the tables of its flows, each way telling of the rows it comes through. */
export function tellingLine({ line }: LoadedLine): Line & { readonly meeting: Meeting } {
  const meeting: Meeting = { into: undefined }
  return { ...line, flows: meetingRows(onTables(line.flows), meeting), meeting }
}

/** How questions are answered that the situation was never asked. */
const RESTS = ['unsure', 'first', 'last'] as const
type Rest = (typeof RESTS)[number]

/** What the family knows once it goes another way. */
interface Known {
  readonly given: ReadonlyMap<string, Answer>
  readonly rest: Rest
}

/**
 * All ways of a situation, one after the other.
 *
 * @param wanted  names of the ways that are looked at; left out, all
 */
export function* waysOf(
  { id, settings, opening: { serial, ...opening }, happened }: Situation,
  shipped: WalkedLine,
  wanted?: ReadonlySet<string>,
): Generator<Way> {
  const line: WalkedLine = { ...shipped, settings }
  const given = answersIn(happened)
  const places = wanted === undefined ? undefined : new Set([...wanted].map(placeOf))
  const isWanted = (name: string) => wanted?.has(name) ?? true
  const isPlace = (place: string) => places?.has(place) ?? true

  function* endings(place: string, from: Walk, go: (way: Walk, known: Known) => Walk): Generator<Way> {
    for (const rest of RESTS) {
      const name = `${place}/${rest}`
      if (isWanted(name)) yield go(from.copy(), { given, rest }).fallSilent().as(name)
    }
  }

  /** Everything that may happen at the open question but what the situation has. */
  function* turns(place: string, way: Walk, answer: Answer, at: Instant): Generator<Way> {
    const fact = way.state.open?.fact
    if (fact === undefined) return
    const others = isPlace(`${place} ${fact}`) ? answersTo(way.line, way.state, fact, at, answer) : []
    for (const [nth, other] of others.entries())
      yield* endings(`${place} ${fact}/${nth}`, way, (copy, known) => copy.answer(other, at).goOn(known))
    for (const [what, go] of MEANWHILE)
      if (isPlace(`${place} ${what}`)) yield* endings(`${place} ${what}`, way, (copy, known) => go(copy, at, known))
  }

  const way = new Walk(line, { ...openCase(line, opening), serial }, opening.at)
  for (const [index, { event, at }] of happened.entries()) {
    if (event.kind === 'answerGiven' && way.state.open?.fact === event.fact)
      yield* turns(String(index), way, event.answer, at)
    way.happens(event, at)
  }
  if (isWanted(AS_IT_WAS)) yield way.as(AS_IT_WAS)
  const from = after(way.at, THINKING)
  for (const [what, go] of MEANWHILE)
    if (isPlace(`end ${what}`)) yield* endings(`end ${what}`, way, (copy, known) => go(copy, from, known))
  for (const fact of Object.keys(way.state.answers)) {
    if (!isPlace(`changed ${fact}`)) continue
    const asked = way.copy().happens({ kind: 'changeWanted', fact }, from)
    if (asked.state.open?.fact !== fact) continue
    for (const [nth, answer] of answersTo(line, asked.state, fact, from).entries())
      yield* endings(`changed ${fact}/${nth}`, asked, (copy, known) => copy.answer(answer, from).goOn(known))
  }

  const unlocked = withLocksOpen(line, opening.concern)
  const [first] = happened
  if (first === undefined) return
  for (let nth = 0; nth < DRAWN; nth++) {
    const name = `drawn ${nth}`
    if (!isWanted(name)) continue
    const on = nth % 2 === 1 && unlocked !== undefined ? unlocked : line
    const drawn = new Walk(on, { ...openCase(on, opening), serial }, opening.at).happens(first.event, first.at)
    yield drawn
      .goAsDrawn(given, seeded(numberOf(`${id} ${nth}`)))
      .fallSilent()
      .as(name)
  }
  if (unlocked === undefined) return
  for (const rest of RESTS) {
    const opened = new Walk(unlocked, { ...openCase(unlocked, opening), serial }, opening.at)
    opened.happens(first.event, first.at)
    for (let count = 0; count < QUESTIONS_MOST; count++) {
      const { open } = opened.state
      if (open === undefined) break
      const at = after(opened.at, THINKING)
      const answer = given.get(open.fact) ?? opened.resting(open.fact, rest, at)
      yield* turns(`locks open, ${rest} ${count}`, opened, answer, at)
      opened.answer(answer, at)
    }
    const name = `locks open, ${rest}`
    if (isWanted(name)) yield opened.fallSilent().as(name)
  }
}

/** The line of a clinic that allows all that a flow may be allowed; undefined where nothing more can be. */
function withLocksOpen(line: WalkedLine, concern: string): WalkedLine | undefined {
  const locks = policiesRead(flowOf(line, concern), line.flows)
  if (locks.every(lock => line.settings[lock as keyof Line['settings']] === 'on')) return undefined
  return { ...line, settings: { ...line.settings, ...Object.fromEntries(locks.map(lock => [lock, 'on'])) } }
}

/** The same number for the same words. */
const numberOf = (words: string): number => createHash('sha256').update(words).digest().readUInt32BE()

/** Where a way leaves what was. */
const placeOf = (name: string): string => name.split('/')[0] ?? ''

/** What may happen at any question instead of an answer. */
const MEANWHILE: readonly (readonly [string, (way: Walk, at: Instant, known: Known) => Walk])[] = [
  ['silence', way => way],
  ['left', (way, at, known) => way.happens({ kind: 'leftSaid', said: '' }, at).goOn(known)],
  ['cannot travel', (way, at, known) => way.happens({ kind: 'travelRefused', said: '' }, at).goOn(known)],
  ['wrong tap', (way, at, known) => way.happens({ kind: 'wrongTapSaid' }, at).goOn(known)],
  ['wants a person', (way, at) => way.happens({ kind: 'personWanted', said: '' }, at)],
  [
    'taken',
    (way, at, known) =>
      way.happens({ kind: 'pageAcknowledged', by: CLINICIAN, doing: { kind: 'ringing-now' } }, at).goOn(known),
  ],
]

/** What is answered at last, by fact. */
const answersIn = (happened: Situation['happened']): ReadonlyMap<string, Answer> =>
  new Map(happened.flatMap(({ event }) => (event.kind === 'answerGiven' ? [[event.fact, event.answer] as const] : [])))

/** Few of each question: those that steer alike are tried once. `not`: left out. */
function answersTo(line: Line, state: CaseState, fact: string, at: Instant, not?: Answer): readonly Answer[] {
  const seen = new Set(not === undefined ? [] : [JSON.stringify(not)])
  return everyAnswer(line, state, fact, at).filter(answer => {
    const key = JSON.stringify(answer)
    if (seen.has(key)) return false
    seen.add(key)
    return true
  })
}

/** A case as it goes, with what it comes to. */
class Walk {
  private told: string[] = []
  private met = new Set<string>()
  private broken = false
  readonly line: WalkedLine
  state: CaseState
  at: Instant

  constructor(line: WalkedLine, state: CaseState, at: Instant) {
    this.line = line
    this.state = state
    this.at = at
  }

  copy(): Walk {
    const other = new Walk(this.line, this.state, this.at)
    other.told = [...this.told]
    other.met = new Set(this.met)
    other.broken = this.broken
    return other
  }

  as = (name: string): Way => ({
    name,
    told: this.told,
    met: this.met,
    entered: new Set(Object.keys(this.state.enteredAt)),
  })

  happens(event: Event, at: Instant): this {
    if (this.broken) return this
    const { line, state: was } = this
    const before = was.kernel.talk
    if (line.meeting !== undefined) line.meeting.into = this.met
    try {
      const { state, effects } = step(line, was, event, at)
      this.state = state
      this.at = at
      const told = effects.map(effect => toldOf(effect, at, line, state))
      if (state.disposition?.id !== was.disposition?.id) told.push(`decides ${state.disposition?.id}`)
      if (state.floor !== was.floor) told.push(`at least ${state.floor}`)
      this.told.push(`${before} ${nameOf(event)}: ${told.join('; ')}`)
    } catch (error) {
      this.broken = true
      this.told.push(`${before} ${nameOf(event)}: breaks: ${String(error)}`)
    }
    return this
  }

  answer(answer: Answer, at: Instant): this {
    const open = this.state.open
    if (open === undefined) return this
    return this.happens({ kind: 'answerGiven', serial: open.serial, fact: open.fact, answer, said: '' }, at)
  }

  /** Answers what comes as the situation has it, and in one manner what it was never asked. */
  goOn({ given, rest }: Known): this {
    const asked = new Set<string>()
    for (let count = 0; count < QUESTIONS_MOST && !this.broken; count++) {
      const open = this.state.open
      if (open === undefined || asked.has(open.fact)) return this
      asked.add(open.fact)
      const at = after(this.at, THINKING)
      this.answer(given.get(open.fact) ?? this.resting(open.fact, rest, at), at)
    }
    return this
  }

  /** Answers half of what comes as the situation has it, the rest by chance; now and then something else happens, or an answer is changed. */
  goAsDrawn(given: Known['given'], { int }: Random): this {
    const oneOf = <T>(all: readonly T[]): T | undefined => all[int(all.length)]
    let changes = 1
    for (let count = 0; count < QUESTIONS_MOST && !this.broken; count++) {
      const at = after(this.at, THINKING)
      const { open } = this.state
      const fact = open === undefined && changes-- > 0 ? oneOf(Object.keys(this.state.answers)) : undefined
      if (fact !== undefined) this.happens({ kind: 'changeWanted', fact }, at)
      else if (open === undefined) return this
      else if (int(12) === 0) oneOf(MEANWHILE)?.[1](this, at, { given, rest: oneOf(RESTS) ?? 'unsure' })
      else {
        const asItWas = int(2) === 0 ? given.get(open.fact) : undefined
        this.answer(asItWas ?? oneOf(answersTo(this.line, this.state, open.fact, at)) ?? { kind: 'unsure' }, at)
      }
    }
    return this
  }

  resting(fact: string, rest: Rest, at: Instant): Answer {
    if (rest === 'unsure') return { kind: 'unsure' }
    const sure = everyAnswer(this.line, this.state, fact, at).filter(({ kind }) => kind !== 'unsure')
    return sure.at(rest === 'first' ? 0 : -1) ?? { kind: 'unsure' }
  }

  /** Nobody writes and nobody answers a page, until the line only says again what it said. */
  fallSilent(): this {
    const until = after(this.at, SILENCE)
    for (let count = 0; count < ALARMS_MOST && !this.broken && !this.state.closed; count++) {
      const next = Object.entries(this.state.alarms)
        .filter(([, { due }]) => due <= until)
        .toSorted(([a, { due: first }], [b, { due: second }]) => first - second || (a < b ? -1 : 1))[0]
      if (next === undefined) return this
      const [name, { due }] = next
      const before = this.told.at(-1)
      this.happens({ kind: 'alarmDue', name, due }, instant(Math.max(due, this.at)))
      if (this.told.at(-1) === before) return this
    }
    return this
  }
}

function nameOf(event: Event): string {
  if (event.kind === 'answerGiven') return `${event.fact} ${JSON.stringify(event.answer)}`
  return event.kind === 'alarmDue' ? `alarm ${event.name}` : event.kind
}

function toldOf(effect: Effect, at: Instant, line: Line, state: CaseState): string {
  switch (effect.kind) {
    case 'reply':
      return `says ${effect.parts.map(part => saidOf(part, line, effect.concern ?? state.concern)).join(' ')}${effect.late === undefined ? '' : ' late'}`
    case 'page':
      return `pages ${effect.to} ${effect.why} for ${effect.reason}, ${effect.urgency}`
    case 'setAlarm':
      return `alarm ${effect.name} in ${Math.round((effect.due - at) / 1000)} s`
    case 'cancelAlarm':
      return `no alarm ${effect.name}`
    case 'note':
      return `note ${effect.id}`
    case 'closeCase':
      return 'closes'
  }
}

/** By id, with what it makes somebody do. */
function saidOf(saying: Saying, line: Line, concern: string): string {
  const tagged = (id: string) => `${id}(${flowOf(line, concern).advice.get(id)?.tags.join(',') ?? ''})`
  switch (saying.kind) {
    case 'say':
      return tagged(saying.id)
    case 'stop':
      return `stop ${tagged(saying.id)}`
    case 'ask':
      return `${saying.fact}?`
    case 'read-back':
      return `${saying.fact}?!`
    default:
      return saying.kind
  }
}
