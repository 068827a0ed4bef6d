/**
 * Single edits of the shipped flows, each a slip that somebody could make: how many of them are noticed says what the checks
 * are worth (mutation analysis: R. A. DeMillo, R. J. Lipton, F. G. Sayward, "Hints on test data selection", 1978).
 * Every edit of a kind is made at every place where it can be; nothing is drawn here.
 */
import { parse, stringify } from 'yaml'
import type { FlowFiles } from '../../src/flow/load.ts'

export interface Mutant {
  /** Place and edit, such as `tube-out/device row 3: goes to lock-shut`. */
  readonly id: string
  readonly kind: string
  /** Steps at which it can show; empty: anywhere. */
  readonly steps: readonly string[]
  /** The step that is edited: a conversation that never comes there goes as before. Undefined: no one step is. */
  readonly step?: string
  /** The advice whose tags are edited. */
  readonly advice?: string
  /** The only flow it is about; undefined: any. */
  readonly flow?: string
  /** The one file that is edited. */
  readonly path: string
  /** The flows' files with the edit. */
  readonly files: (shipped: FlowFiles) => FlowFiles
}

/** The lines of the edited file that differ, as `- …` and `+ …`, from those of the shipped one written in the same way. */
export function diffOf({ path, files }: Mutant, shipped: FlowFiles): string[] {
  const before = stringify(parse(shipped.get(path) ?? '')).split('\n')
  const after = (files(shipped).get(path) ?? '').split('\n')
  let from = 0
  while (from < before.length && before[from] === after[from]) from++
  let same = 0
  while (same < Math.min(before.length, after.length) - from && before.at(-1 - same) === after.at(-1 - same)) same++
  return [
    ...before.slice(from, before.length - same).map(line => `- ${line}`),
    ...after.slice(from, after.length - same).map(line => `+ ${line}`),
  ]
}

type Row = { if?: Record<string, string[]>; go: string }
type Alarm = { name: string; at?: string; after?: string; go: string; late?: string }
interface Step {
  say?: string[]
  decide?: string
  page?: string
  note?: string
  alarms?: Alarm[]
  cancel?: string[]
  set?: Record<string, string>
  ask?: string
  quiet?: true
  again?: boolean
  wait?: true
  end?: true
  go?: string
  route?: Row[]
  'start-clock'?: string
}
interface FlowText {
  start?: string
  silence?: { ask: string; page: string }
  unanswered?: string
  left?: string
  steps: Record<string, Step>
}
interface Fact {
  kind: string
  values?: string[]
  'unsure-acts-as'?: string
  sticky?: boolean
  settable?: boolean
}
interface Facts {
  facts: Record<string, Fact>
  derived: Record<string, { values: string[] }>
}
interface Advice {
  tags: string[]
}

const URGENCIES = ['at-home', 'tell-clinic', 'speak', 'set-out', 'ambulance']
const MOMENTS = ['leave-by', 'closure-soonest', 'closure-latest', 'closure-overdue', 'arrival']

/** Every mutant of the shipped flows, in the order of their files. */
export function allMutants(shipped: FlowFiles): Mutant[] {
  const read = <T>(path: string): T => parse(shipped.get(path) ?? '') as T
  const facts = read<Facts>('shared/facts.yaml')
  const { tags } = read<{ tags: Record<string, { hazardous?: boolean }> }>('shared/tags.yaml')
  const hazardous = Object.keys(tags).filter(tag => tags[tag]?.hazardous === true)
  const flows = [...shipped.keys()].flatMap(path => (path.endsWith('/flow.yaml') ? [path.split('/')[0] ?? ''] : []))
  const flowPaths = flows.map(flow => `${flow}/flow.yaml`)
  const steps = [...flowPaths, 'shared/steps.yaml'].flatMap(path =>
    stepMutants(path, read<FlowText>(path), { facts, advice: hazardousAdvice(read, [...flows, 'shared'], hazardous) }),
  )
  return [
    ...steps,
    ...flowPaths.flatMap(path => flowMutants(path, read<FlowText>(path))),
    ...flows
      .concat('shared')
      .flatMap(folder =>
        tagMutants(`${folder}/sources.yaml`, read(`${folder}/sources.yaml`), hazardous, saidIn(read, flowPaths)),
      ),
    ...factMutants(facts, factsAsked(read, flowPaths)),
  ]
}

const hazardousAdvice = (
  read: <T>(path: string) => T,
  folders: readonly string[],
  hazardous: readonly string[],
): string[] =>
  folders.flatMap(folder =>
    Object.entries(read<{ advice: Record<string, Advice> }>(`${folder}/sources.yaml`).advice).flatMap(([id, advice]) =>
      advice.tags.some(tag => hazardous.includes(tag)) ? [id] : [],
    ),
  )

/** An edit of one file: made on a fresh copy of what is parsed. */
function edit<T>(path: string, change: (document: T) => void): Mutant['files'] {
  return shipped => {
    const document = parse(shipped.get(path) ?? '') as T
    change(document)
    return new Map(shipped).set(path, stringify(document))
  }
}

interface Known {
  readonly facts: Facts
  /** Advice that makes somebody do what can harm. */
  readonly advice: readonly string[]
}

function stepMutants(path: string, flow: FlowText, known: Known): Mutant[] {
  const folder = path.split('/')[0] ?? ''
  const ids = Object.keys(flow.steps)
  const name = (id: string) => (folder === 'shared' ? `shared/${id}` : id)
  const reasons = [...new Set(ids.flatMap(id => flow.steps[id]?.page ?? []))]
  return ids.flatMap(id => {
    const step = flow.steps[id] as Step
    const mutants: Mutant[] = []
    const add = (kind: string, what: string, change: (step: Step) => void, steps: readonly string[] = [name(id)]) =>
      mutants.push({
        id: `${folder}/${id} ${what}`,
        kind,
        steps,
        step: name(id),
        ...(folder === 'shared' ? {} : { flow: folder }),
        path,
        files: edit<FlowText>(path, ({ steps: all }) => change(all[id] as Step)),
      })
    const others = ids.map(name).filter(other => other !== name(id))
    const elsewhere = (go: string) => others[(others.indexOf(go) + 1 + others.length) % others.length] ?? go
    routeMutants(step, add, elsewhere, known)
    sayMutants(step, add, known)
    if (step.page !== undefined) {
      const other = reasons.find(reason => reason !== step.page)
      add('page dropped', 'pages nobody', each => delete each.page)
      if (other !== undefined) add('page reason', `pages for ${other}`, each => (each.page = other))
    }
    alarmMutants(step, add, elsewhere)
    for (const [at, cancelled] of (step.cancel ?? []).entries())
      add('cancel dropped', `leaves alarm ${cancelled} set`, each => each.cancel?.splice(at, 1), [])
    if (step.decide !== undefined) {
      const at = URGENCIES.indexOf(step.decide)
      const [lower, higher] = [URGENCIES[at - 1], URGENCIES[at + 1]]
      if (lower !== undefined) add('decide lowered', `decides ${lower}`, each => (each.decide = lower))
      if (higher !== undefined) add('decide raised', `decides ${higher}`, each => (each.decide = higher))
      add('decide dropped', 'decides nothing', each => delete each.decide)
    }
    for (const fact of Object.keys(step.set ?? {}))
      add('set dropped', `does not set ${fact}`, each => delete each.set?.[fact], [])
    if (step.ask !== undefined) {
      add('again', step.again === true ? 'does not ask again' : 'asks again', each => {
        each.again = step.again !== true
      })
      add('quiet', step.quiet === true ? 'is chased' : 'is not chased', each => {
        if (step.quiet === true) delete each.quiet
        else each.quiet = true
      })
      add('ask dropped', `does not ask ${step.ask}`, each => delete each.ask)
    }
    if (step.end === true)
      add('end', 'waits instead of ending', each => {
        delete each.end
        each.wait = true
      })
    if (step.note !== undefined) add('note dropped', 'leaves no note', each => delete each.note)
    if (step['start-clock'] !== undefined) add('clock dropped', 'starts no clock', each => delete each['start-clock'])
    return mutants
  })
}

const rowAt = (step: Step, at: number): Row => (step.route ?? [])[at] as Row

type Add = (kind: string, what: string, change: (step: Step) => void, steps?: readonly string[]) => void

function routeMutants(step: Step, add: Add, elsewhere: (go: string) => string, { facts }: Known): void {
  if (step.go !== undefined) {
    const other = elsewhere(step.go)
    add('target', `goes to ${other}`, each => (each.go = other))
  }
  const rows = step.route ?? []
  rows.forEach((row, at) => {
    const other = rows.find(each => each.go !== row.go)?.go ?? elsewhere(row.go)
    add('target', `row ${at + 1} goes to ${other}`, each => (rowAt(each, at).go = other))
    if (at < rows.length - 1) add('row dropped', `row ${at + 1} dropped`, each => each.route?.splice(at, 1))
    if (at < rows.length - 2 && !areApart(row, rows[at + 1], facts))
      add('rows swapped', `rows ${at + 1} and ${at + 2} swapped`, each => {
        const route = each.route as Row[]
        ;[route[at], route[at + 1]] = [route[at + 1] as Row, route[at] as Row]
      })
    for (const [fact, values] of Object.entries(row.if ?? {})) {
      const conditionOf = (each: Step) => rowAt(each, at).if as Record<string, string[]>
      if (Object.keys(row.if ?? {}).length > 1)
        add('condition dropped', `row ${at + 1} does not look at ${fact}`, each => delete conditionOf(each)[fact])
      if (values.length > 1)
        for (const value of values)
          add('value dropped', `row ${at + 1} without ${fact}: ${value}`, each => {
            conditionOf(each)[fact] = values.filter(one => one !== value)
          })
      const domain = [...(facts.facts[fact]?.values ?? facts.derived[fact]?.values ?? [])]
      const document = facts.facts[fact]
      // What steps set is never answered, so never "not sure".
      if (document !== undefined && document['unsure-acts-as'] === undefined && document.settable !== true)
        domain.push('unsure')
      for (const value of domain.filter(one => !values.includes(one)).slice(0, 2))
        add('value added', `row ${at + 1} also for ${fact}: ${value}`, each => {
          conditionOf(each)[fact] = [...values, value]
        })
    }
  })
}

/** Two rows that never both fit: the other way round they are the same. */
function areApart(row: Row, next: Row | undefined, { facts, derived }: Facts): boolean {
  return Object.entries(row.if ?? {}).some(([fact, values]) => {
    const others = next?.if?.[fact]
    const isOne = derived[fact] !== undefined || (facts[fact] !== undefined && facts[fact]?.kind !== 'many')
    return isOne && others?.every(value => !values.includes(value)) === true
  })
}

function sayMutants(step: Step, add: Add, { advice }: Known): void {
  const says = step.say ?? []
  for (const [at, id] of says.entries()) add('say dropped', `does not say ${id}`, each => each.say?.splice(at, 1))
  if (says.length === 0) return
  const hazard = advice.find(id => !says.includes(id))
  if (hazard !== undefined) add('say added', `also says ${hazard}`, each => each.say?.push(hazard))
}

function alarmMutants(step: Step, add: Add, elsewhere: (go: string) => string): void {
  for (const [at, alarm] of (step.alarms ?? []).entries()) {
    const change = (make: (alarm: Alarm) => void) => (each: Step) => make(each.alarms?.[at] as Alarm)
    add('alarm dropped', `alarm ${alarm.name} not set`, each => each.alarms?.splice(at, 1), [])
    add(
      'alarm name',
      `alarm ${alarm.name} under another name`,
      change(each => (each.name = `${alarm.name}-other`)),
      [],
    )
    const other = elsewhere(alarm.go)
    add(
      'alarm target',
      `alarm ${alarm.name} leads to ${other}`,
      change(each => (each.go = other)),
      [],
    )
    if (alarm.at !== undefined)
      for (const moment of MOMENTS.filter(each => each !== alarm.at && each !== 'arrival').slice(0, 2))
        add(
          'alarm moment',
          `alarm ${alarm.name} at ${moment}`,
          change(each => (each.at = moment)),
          [],
        )
    if (alarm.after !== undefined)
      add(
        'alarm moment',
        `alarm ${alarm.name} after left-silent`,
        change(each => (each.after = 'left-silent')),
        [],
      )
  }
}

function flowMutants(path: string, flow: FlowText): Mutant[] {
  const folder = path.split('/')[0] ?? ''
  const mutant = (kind: string, what: string, change: (flow: FlowText) => void): Mutant => ({
    id: `${folder} ${what}`,
    kind,
    steps: [],
    flow: folder,
    path,
    files: edit<FlowText>(path, change),
  })
  const ids = Object.keys(flow.steps)
  const second = ids[ids.indexOf(flow.start ?? '') + 1] ?? ''
  return [
    mutant('start', `starts at ${second}`, each => (each.start = second)),
    mutant('silence', 'silence is not chased', each => delete each.silence),
    mutant('silence', 'silence is asked about twice', each => {
      if (each.silence !== undefined) each.silence.page = each.silence.ask
    }),
    mutant('silence', 'silence pages at once', each => {
      if (each.silence !== undefined) each.silence.ask = each.silence.page
    }),
    ...(flow.unanswered === undefined
      ? []
      : [mutant('unanswered', 'nobody is told of an unanswered page', each => delete each.unanswered)]),
    ...(flow.left === undefined ? [] : [mutant('left', '"we have left" leads nowhere', each => delete each.left)]),
  ]
}

function saidIn(read: <T>(path: string) => T, flowPaths: readonly string[]): ReadonlySet<string> {
  const steps = [...flowPaths, 'shared/steps.yaml'].flatMap(path => Object.values(read<FlowText>(path).steps))
  return new Set(steps.flatMap(step => step.say ?? []))
}

/** Each tag of what is said dropped, and a hazardous one added. */
function tagMutants(
  path: string,
  { advice }: { advice: Record<string, Advice> },
  hazardous: readonly string[],
  said: ReadonlySet<string>,
): Mutant[] {
  return Object.entries(advice).flatMap(([id, { tags }]) => {
    if (!said.has(id)) return []
    const change = (kind: string, what: string, next: readonly string[]): Mutant => ({
      id: `${path.split('/')[0]} advice ${id} ${what}`,
      kind,
      steps: [],
      advice: id,
      path,
      files: edit<{ advice: Record<string, Advice> }>(path, document => {
        ;(document.advice[id] as Advice).tags = [...next]
      }),
    })
    const added = hazardous.find(tag => !tags.includes(tag)) ?? ''
    return [
      ...tags.map(tag =>
        change(
          'tag dropped',
          `without ${tag}`,
          tags.filter(each => each !== tag),
        ),
      ),
      change('tag added', `also ${added}`, [...tags, added]),
    ]
  })
}

function factsAsked(read: <T>(path: string) => T, flowPaths: readonly string[]): ReadonlySet<string> {
  const steps = [...flowPaths, 'shared/steps.yaml'].flatMap(path => Object.values(read<FlowText>(path).steps))
  return new Set(steps.flatMap(step => [...(step.ask === undefined ? [] : [step.ask]), ...Object.keys(step.set ?? {})]))
}

function factMutants({ facts }: Facts, asked: ReadonlySet<string>): Mutant[] {
  return Object.entries(facts).flatMap(([id, fact]) => {
    if (!asked.has(id)) return []
    const change = (kind: string, what: string, make: (fact: Fact) => void): Mutant => ({
      id: `shared fact ${id} ${what}`,
      kind,
      steps: [],
      path: 'shared/facts.yaml',
      files: edit<Facts>('shared/facts.yaml', document => make(document.facts[id] as Fact)),
    })
    const acts = fact['unsure-acts-as']
    return [
      ...(acts === undefined
        ? []
        : [
            change('not sure', 'not sure acts as nothing listed', each => delete each['unsure-acts-as']),
            ...(fact.values ?? []).flatMap(value =>
              value === acts
                ? []
                : [change('not sure', `not sure acts as ${value}`, each => (each['unsure-acts-as'] = value))],
            ),
          ]),
      ...(fact.sticky === true ? [change('history', 'is not history', each => delete each.sticky)] : []),
    ]
  })
}
