/**
 * A flow as boxes to be drawn: what each says, asks, decides and pages, and its ways on. Steps that only follow one
 * another share a box. What is too much for one drawing is cut into parts; a way into another part is written, not drawn.
 */
import type { Flow, FlowSet } from '../../flow/flow-set.ts'
import { ANY_TIME_STEPS, type Step } from '../../flow/flow-step.ts'
import type { Catalogue } from '../../flow/wording.ts'
import { alarmWords, conditionWords, DECIDED, filled } from './words.ts'

export interface BoxLine {
  readonly kind: 'decides' | 'says' | 'asks' | 'pages' | 'does'
  readonly text: string
}

export interface Exit {
  readonly text: string
  /** Box of the same drawing; undefined for `resume` and for a step of another drawing. */
  readonly to?: string
  /** What stands there in words, where no line is drawn: "back to where it was", a shared step. */
  readonly elsewhere?: string
  /** By time, not by an answer. */
  readonly isTimed: boolean
}

export interface Box {
  /** Id of its first step. */
  readonly id: string
  readonly steps: readonly string[]
  readonly lines: readonly BoxLine[]
  readonly exits: readonly Exit[]
  /** Nothing is asked and nothing leads on: the talk waits, or is over. */
  readonly rests?: 'waits' | 'ends'
}

/** Boxes drawn together, in reading order; ways to boxes of other parts name them. */
export interface Part {
  readonly number: number
  readonly head: string
  readonly boxes: readonly Box[]
  /** Column of each box, 0 for the head. */
  readonly columnOf: ReadonlyMap<string, number>
}

export interface Picture {
  readonly title: string
  readonly parts: readonly Part[]
  readonly partOf: ReadonlyMap<string, Part>
  /** Entries beside the start, with what leads there. */
  readonly entries: readonly { readonly step: string; readonly when: string }[]
}

/** Columns of a part at most: what six boxes across still leave readable on A3. */
const COLUMNS_MOST = 6

/** The steps of a flow itself, without those of flows/shared. */
export function flowPicture(flow: Flow, set: FlowSet, language: string): Picture {
  const wording = flow.wording.get(language)
  const steps = new Map([...flow.steps].filter(([id]) => !id.startsWith('shared/')))
  const entries = sideEntriesOf(flow).filter(({ step }) => !step.startsWith('shared/'))
  return picture(filled(wording, `concern/${flow.concern}`), steps, flow.start, entries, set, wording)
}

function sideEntriesOf(flow: Flow): Picture['entries'] {
  return [
    { step: flow.silence?.ask, when: 'The family does not answer for the first wait' },
    { step: flow.silence?.page, when: 'The family does not answer for the long wait' },
    { step: flow.unanswered, when: 'Nobody has answered the page' },
    { step: flow.left, when: 'The family says it has left' },
  ].flatMap(({ step, when }) => (step === undefined ? [] : [{ step, when }]))
}

/** The shared steps that any of the flows can come to. */
export function sharedPicture(set: FlowSet, language: string): Picture {
  const all = [...set.flows.values()].flatMap(flow => [...flow.steps])
  const steps = new Map(all.filter(([id]) => id.startsWith('shared/')))
  const wording = [...set.flows.values()][0]?.wording.get(language) ?? set.wording.get(language)
  const when = [
    'A danger sign is tapped or said',
    'The family asks for a person',
    'The family says it cannot get there',
  ]
  const anyTime = ANY_TIME_STEPS.map((step, index) => ({ step: step as string, when: when[index] ?? '' }))
  const aside = [...set.flows.values()].flatMap(sideEntriesOf).filter(({ step }) => step.startsWith('shared/'))
  const entries = [...new Map([...anyTime, ...aside].map(entry => [entry.step, entry])).values()]
  return picture('Shared by all flows', steps, entries[0]?.step ?? '', entries, set, wording)
}

function picture(
  title: string,
  steps: ReadonlyMap<string, Step>,
  start: string,
  entries: Picture['entries'],
  set: FlowSet,
  wording: Catalogue | undefined,
): Picture {
  const heads = new Set([start, ...entries.map(({ step }) => step)])
  const boxes = boxesOf(steps, heads, set, wording)
  const parts = partsOf(boxes, [start, ...entries.map(({ step }) => step)])
  const partOf = new Map(parts.flatMap(part => part.boxes.map(box => [box.id, part] as const)))
  return { title, parts, partOf, entries }
}

// ---- Boxes ----

function boxesOf(
  steps: ReadonlyMap<string, Step>,
  heads: ReadonlySet<string>,
  set: FlowSet,
  wording: Catalogue | undefined,
): ReadonlyMap<string, Box> {
  const leading = new Map<string, number>()
  for (const step of steps.values())
    for (const to of new Set([...step.rows.map(row => row.go), ...step.alarms.map(alarm => alarm.go)]))
      leading.set(to, (leading.get(to) ?? 0) + 1)
  const follows = (step: Step): string | undefined => {
    const [only] = step.rows
    if (step.ask !== undefined || step.rows.length !== 1 || only === undefined) return undefined
    const isAlone = steps.has(only.go) && leading.get(only.go) === 1 && !heads.has(only.go)
    return isAlone ? only.go : undefined
  }
  const followers = new Set([...steps.values()].flatMap(step => follows(step) ?? []))
  const boxes = new Map<string, Box>()
  for (const [id, step] of steps) {
    if (followers.has(id)) continue
    const chain = [step]
    for (let next = follows(step); next !== undefined && chain.length < 6; ) {
      const one = steps.get(next) as Step
      chain.push(one)
      next = follows(one)
    }
    boxes.set(id, boxOf(chain, steps, set, wording))
  }
  return boxes
}

function boxOf(
  chain: readonly Step[],
  steps: ReadonlyMap<string, Step>,
  set: FlowSet,
  wording: Catalogue | undefined,
): Box {
  const last = chain.at(-1) as Step
  const goes = (to: string) =>
    to === 'resume'
      ? { elsewhere: 'back to the open question' }
      : steps.has(to)
        ? { to }
        : { elsewhere: to.replace(/^shared\//, 'shared: ') }
  return {
    id: (chain[0] as Step).id,
    steps: chain.map(step => step.id),
    lines: chain.some(isSeen)
      ? chain.flatMap(step => linesOf(step, wording))
      : [{ kind: 'does', text: 'Nothing is said or asked. What is known leads on:' }],
    exits: [
      ...last.rows.map((row, index) => ({
        text: conditionWords(row.if, last.ask, set, wording) || (index === 0 ? 'then' : 'otherwise'),
        ...goes(row.go),
        isTimed: false,
      })),
      ...chain.flatMap(step =>
        step.alarms.map(alarm => ({ text: alarmWords(alarm), ...goes(alarm.go), isTimed: true })),
      ),
    ],
    ...(last.wait === true ? { rests: 'waits' as const } : last.end === true ? { rests: 'ends' as const } : {}),
  }
}

const isSeen = ({ say, ask, decide, page, note }: Step): boolean =>
  [say, ask, decide, page, note].some(each => each !== undefined)

function linesOf(step: Step, wording: Catalogue | undefined): BoxLine[] {
  const lines: BoxLine[] = []
  if (step.decide !== undefined) lines.push({ kind: 'decides', text: DECIDED[step.decide] ?? step.decide })
  for (const id of step.say ?? []) lines.push({ kind: 'says', text: filled(wording, `say/${id}`) })
  if (step.page !== undefined) lines.push({ kind: 'pages', text: filled(wording, `reason/${step.page}`) })
  if (step.note !== undefined)
    lines.push({ kind: 'does', text: `Note for the day: ${filled(wording, `note/${step.note}`)}` })
  if (step.ask !== undefined) {
    const suffix = step.quiet === true ? ' (no answer is needed)' : step.again === true ? ' (asked again)' : ''
    lines.push({ kind: 'asks', text: `${filled(wording, `ask/${step.ask}`)}${suffix}` })
  }
  return lines
}

// ---- Parts ----

function partsOf(boxes: ReadonlyMap<string, Box>, first: readonly string[]): Part[] {
  const ways = (box: Box) => [...new Set(box.exits.flatMap(({ to }) => to ?? []))]
  const before = new Map<string, Set<string>>()
  for (const box of boxes.values())
    for (const to of ways(box)) before.set(to, (before.get(to) ?? new Set()).add(box.id))
  const parts: Part[] = []
  const placed = new Set<string>()
  const queue = first.filter(id => boxes.has(id))
  for (const [id] of boxes) if (!before.has(id)) queue.push(id)
  for (let at = 0; at < queue.length || placed.size < boxes.size; at++) {
    const head = queue[at] ?? [...boxes.keys()].find(id => !placed.has(id))
    if (head === undefined) break
    if (placed.has(head)) continue
    const columnOf = grow(head, boxes, before, ways, new Set([...placed, ...first]))
    for (const id of columnOf.keys()) placed.add(id)
    const own = [...columnOf.keys()].map(id => boxes.get(id) as Box)
    parts.push({ number: parts.length + 1, head, boxes: own, columnOf })
    for (const box of own) for (const to of ways(box)) if (!placed.has(to)) queue.push(to)
  }
  return parts
}

/** Everything that is only come to through the head, by the longest way to it, as far as the columns go. */
function grow(
  head: string,
  boxes: ReadonlyMap<string, Box>,
  before: ReadonlyMap<string, ReadonlySet<string>>,
  ways: (box: Box) => readonly string[],
  taken: ReadonlySet<string>,
): Map<string, number> {
  const columnOf = new Map([[head, 0]])
  for (let isGrown = true; isGrown; ) {
    isGrown = false
    for (const id of [...columnOf.keys()].flatMap(from => ways(boxes.get(from) as Box))) {
      if (columnOf.has(id) || taken.has(id)) continue
      const columns = [...(before.get(id) ?? [])].map(from => columnOf.get(from))
      if (columns.some(column => column === undefined)) continue
      const column = 1 + Math.max(...(columns as number[]))
      if (column >= COLUMNS_MOST) continue
      columnOf.set(id, column)
      isGrown = true
    }
  }
  return columnOf
}
