/**
 * Safety rules as assertions in the printed model, told anew from the rules as a clinic writes them: what happens in one
 * reply is noted as its steps are entered and judged when it is done; only what a rule must remember stays. Rules with a
 * bound in silence are left to the explorer: time is no number here.
 */
import type { Condition, Happening, Rule } from '../../flow/rule-document.ts'
import { SILENT_ASK, SILENT_PAGE } from '../../flow/steps.ts'
import { testFor } from '../model/flat-tests.ts'
import { type FlatFlow, type FlatNode, urgencyOf } from '../model/tables.ts'
import { appliesTo } from '../rules/rule-compile.ts'
import { modelOf, type PromelaModel, type PromelaWatch } from './model.ts'
import { allOf, anyOf, conditionOf, namer } from './words.ts'

/** Rules that the printed model asserts, and what stands for each in what SPIN says: `broken!=N`, N from 1. */
export interface WatchedRules {
  readonly watch: PromelaWatch
  readonly rules: readonly string[]
}

const EVENT_OF: Readonly<Record<string, string>> = {
  opened: 'OPENED',
  'danger-said': 'DANGER_SAID',
  'person-wanted': 'PERSON_WANTED',
  'travel-refused': 'TRAVEL_REFUSED',
  'left-said': 'LEFT_SAID',
  'wrong-tap': 'WRONG_TAP',
  restarted: 'RESTARTED',
}

/** Something that happens: remembered from one reply to the next, or only noted in the present one. */
interface Note {
  readonly happening: Happening
  /** It was entered in this reply; it happened in this reply; it has happened before. */
  readonly entered: string
  readonly now: string
  readonly before: string | undefined
}

export function watchRules(rules: readonly Rule[], flat: FlatFlow): WatchedRules {
  const told = rules.filter(rule => typeof rule.response?.within !== 'object' && appliesTo(rule, flat))
  return watched(told, flat, { judge: verdictLines, claims: [], noted: ({ entered }) => `${entered} = 1;` })
}

/** The rules of a flow with a bound in silence: each is a claim of its own. */
export function silenceRules(rules: readonly Rule[], flat: FlatFlow): readonly Rule[] {
  return rules.filter(rule => typeof rule.response?.within === 'object' && appliesTo(rule, flat))
}

/** The claim of one rule with a bound in silence. Options of the model: `silence`. */
export function watchSilence(rule: Rule, flat: FlatFlow): PromelaWatch {
  const claim = 'ltl comes { [] (owed -> <> !owed) }'
  // What talk goes through again on its way back is not done again.
  const noted = ({ entered }: Note) => `if :: !replaying -> ${entered} = 1 :: else fi;`
  const { watch } = watched([rule], flat, { judge: silenceLines, claims: [claim], noted })
  return { ...watch, declared: ['bit quiet; bit owed; bit may_owe; bit asked_once;', ...watch.declared] }
}

/** Once triggered the family may fall silent (`may_owe`); then the goal is owed until it comes. */
function silenceLines(rule: Rule, index: number, seen: Seen): string[] {
  const event = eventOf(rule)
  if (event === undefined) return []
  const ask = (seen.model.flat.alarmOf.get(SILENT_ASK) ?? -1) + 1
  const page = (seen.model.flat.alarmOf.get(SILENT_PAGE) ?? -1) + 1
  const scope = isStepped(event) ? `scoped_${index + 1}` : scopeOf(rule, seen, 0, 'now')
  const triggered = allOf([wholeOf(event, seen.model), scope])
  return [
    'if',
    `:: quiet && ${goalsMet(rule, seen)} -> owed = 0`,
    `:: else -> if :: quiet && event == ALARM -> asked_once = (cause == ${ask} || cause == ${page}) :: else fi`,
    'fi;',
    `may_owe = !quiet && ${triggered};`,
  ]
}

interface Watching {
  /** Once a reply is done. */
  readonly judge: (rule: Rule, index: number, seen: Seen) => string[]
  /** As a step is entered that does what a note is about. */
  readonly noted: (note: Note) => string
  readonly claims: readonly string[]
}

function watched(told: readonly Rule[], flat: FlatFlow, { judge, noted, claims }: Watching): WatchedRules {
  const model = modelOf(flat, {})
  const notes = notesOf(told)
  const tags = tagsRead(told)
  const tagName = namer('said')
  const seen = { model, notes, tagName }
  const declared = [
    'byte cause; byte asked;',
    ...notes.all.flatMap(({ entered, now, before }) => [
      `bit ${entered}; bit ${now};`,
      ...(before === undefined ? [] : [`bit ${before};`]),
    ]),
    ...told.map((_, index) => `bit scoped_${index + 1};`),
    ...tags.map(tag => `bit ${tagName(tag)};`),
  ]
  const entering = (at: number): string[] => {
    const node = flat.nodes[at] as FlatNode
    const said = new Set(node.says.flatMap(id => flat.flow.advice.get(id)?.tags ?? []))
    return [
      ...tags.filter(tag => said.has(tag)).map(tag => `${tagName(tag)} = 1;`),
      ...told.flatMap((rule, index) => {
        const event = eventOf(rule)
        if (event === undefined || !isStepped(event) || !isDoneAt(event, node, flat)) return []
        const isFresh = rule.after === undefined ? 'true' : freshAt(event, node, model)
        const condition = allOf([`!scoped_${index + 1}`, isFresh, scopeOf(rule, seen, node.decides, 'entered')])
        return [`if :: ${condition} -> scoped_${index + 1} = 1 :: else fi;`]
      }),
      ...notes.all.flatMap(note =>
        isStepped(note.happening) && isDoneAt(note.happening, node, flat) ? [noted(note)] : [],
      ),
    ]
  }
  const ending = [
    ...notes.all.map(
      note =>
        `${note.now} = ${allOf([isStepped(note.happening) ? note.entered : 'true', wholeOf(note.happening, model)])};`,
    ),
    ...told.flatMap((rule, index) => judge(rule, index, seen)),
    ...notes.all.flatMap(note => rememberLines(note, told, notes)),
    ...notes.all.map(({ entered, now }) => `${entered} = 0; ${now} = 0;`),
    ...told.map((_, index) => `scoped_${index + 1} = 0;`),
    'cause = 0; asked = 0;',
  ]
  const beginning = ['cause = which; asked = talk;']
  return { watch: { declared, entering, beginning, ending, claims }, rules: told.map(({ id }) => id) }
}

/** Talk that begins anew says it anew: what must have come first does not count from before. */
function rememberLines(note: Note, rules: readonly Rule[], notes: Notes): string[] {
  const { now, before } = note
  if (before === undefined) return []
  const isOf = (happening: Happening | undefined) => happening !== undefined && notes.of(happening, true) === note
  const isNeeded = rules.some(rule => isOf(rule.existence ?? rule.precedence?.needs))
  const isScope = rules.some(rule => isOf(rule.after) || (rule.existence === undefined && isOf(rule.before)))
  if (!isNeeded || isScope) return [`${before} = ${before} || ${now};`]
  return [`${before} = (${before} && event != RESTARTED && event != WRONG_TAP) || ${now};`]
}

const listOf = <T>(value: T | readonly T[] | undefined): readonly T[] =>
  value === undefined ? [] : Array.isArray(value) ? value : [value as T]

const eventOf = (rule: Rule): Happening | undefined =>
  rule.existence === undefined ? (rule.absence ?? rule.precedence?.of ?? rule.response?.after) : rule.before

interface Notes {
  readonly all: readonly Note[]
  readonly of: (happening: Happening, isKept: boolean) => Note
}

function notesOf(rules: readonly Rule[]): Notes {
  const known = new Map<string, Note>()
  const of = (happening: Happening, isKept: boolean): Note => {
    const key = JSON.stringify([happening, isKept])
    const number = known.size + 1
    const note = known.get(key) ?? {
      happening,
      entered: `entered_${number}`,
      now: `now_${number}`,
      before: isKept ? `earlier_${number}` : undefined,
    }
    known.set(key, note)
    return note
  }
  for (const rule of rules) {
    for (const kept of [rule.existence ?? rule.precedence?.needs, rule.after]) if (kept !== undefined) of(kept, true)
    if (rule.existence === undefined && rule.before !== undefined) of(rule.before, true)
    for (const goal of listOf(rule.response?.must)) if (!('holds' in goal)) of(goal, false)
  }
  return { all: [...known.values()], of }
}

function tagsRead(rules: readonly Rule[]): string[] {
  const conditions: readonly Condition[] = rules.flatMap(rule => [
    ...(rule.universality === undefined ? [] : [rule.universality]),
    ...(rule.while === undefined ? [] : [rule.while]),
    ...listOf<Condition>(rule.unless),
    ...listOf(rule.response?.must).flatMap(goal => ('holds' in goal ? [goal.holds] : [])),
  ])
  return [...new Set(conditions.flatMap(condition => listOf(condition.said)))]
}

const isStepped = ({ says, decides, pages }: Happening): boolean =>
  says !== undefined || decides !== undefined || pages !== undefined

/** Whether a step by itself says, decides and pages what is meant. */
function isDoneAt({ says, decides, pages }: Happening, node: FlatNode, flat: FlatFlow): boolean {
  if (says !== undefined && meantAt(says, node, flat).length === 0) return false
  if (decides !== undefined && node.decides < urgencyOf(decides)) return false
  return pages === undefined || (node.page !== undefined && (pages === 'any' || pages.includes(node.page)))
}

const meantAt = (says: readonly string[], node: FlatNode, flat: FlatFlow): string[] =>
  node.says.filter(
    id => says.includes(`advice/${id}`) || (flat.flow.advice.get(id)?.tags ?? []).some(tag => says.includes(tag)),
  )

/** Advice still in force is not said again while talk is replayed. */
function freshAt({ says }: Happening, node: FlatNode, model: PromelaModel): string {
  if (says === undefined) return 'true'
  const { flat } = model
  const fresh = meantAt(says, node, flat).map(id => {
    const hazard = flat.hazardous.indexOf(id)
    return hazard < 0 ? 'true' : `!${model.inForce(hazard)}`
  })
  return anyOf(['!replaying', ...fresh])
}

/** Parts of a happening that are known only once the reply is done: where talk stands, and what brought it about. */
function wholeOf({ asks, rests, ends, family, answers, alarm }: Happening, model: PromelaModel): string {
  const { flat } = model
  const places = flat.nodes.flatMap((node, at) => {
    const fact = flat.cells[node.ask]?.fact
    const isAsked = node.ask >= 0 && !node.quiet
    if (asks !== undefined && !(isAsked && (asks === 'any' || asks.includes(fact ?? '')))) return []
    if (rests !== undefined && !node.rests) return []
    return ends !== undefined && !node.ends ? [] : [`talk == ${at}`]
  })
  const isPlaced = asks !== undefined || rests !== undefined || ends !== undefined
  const asked = flat.nodes.flatMap((node, at) => {
    const fact = flat.cells[node.ask]?.fact
    return fact !== undefined && (answers === 'any' || answers?.includes(fact) === true) ? [`asked == ${at}`] : []
  })
  const alarms = flat.alarms.flatMap(({ name }, index) =>
    alarm === 'any' || alarm?.includes(name) === true ? [`cause == ${index + 1}`] : [],
  )
  return allOf([
    ...(isPlaced ? ['event != TIME', 'event != GREW_OLDER', anyOf(places)] : []),
    ...(family === undefined ? [] : [anyOf(family.map(kind => `event == ${EVENT_OF[kind] ?? 'OPENED'}`))]),
    ...(answers === undefined ? [] : ['event == ANSWERED', anyOf(asked)]),
    ...(alarm === undefined ? [] : ['event == ALARM', anyOf(alarms)]),
  ])
}

interface Seen {
  readonly model: PromelaModel
  readonly notes: Notes
  readonly tagName: (tag: string) => string
}

/** The scope of a rule, as a step is entered or once the reply is done. */
function scopeOf(rule: Rule, seen: Seen, deciding: number, moment: 'entered' | 'now'): string {
  const happened = (happening: Happening): string => {
    const note = seen.notes.of(happening, true)
    return anyOf([note[moment], ...(note.before === undefined ? [] : [note.before])])
  }
  const { after, before, existence } = rule
  return allOf([
    ...(after === undefined ? [] : [happened(after)]),
    ...(before === undefined || existence !== undefined ? [] : [`!${happened(before)}`]),
    ...(rule.while === undefined ? [] : [holdsIn(rule.while, seen, deciding)]),
    ...listOf(rule.unless).map(condition => `!${holdsIn(condition, seen, deciding)}`),
  ])
}

/** A condition of a rule, all parts of it. */
function holdsIn(condition: Condition, { model, tagName }: Seen, deciding: number): string {
  const { flat } = model
  return allOf(
    Object.entries(condition).map(([on, listed]) => {
      const values = listOf(listed)
      switch (on) {
        case 'decided': {
          const least = Math.min(...values.map(urgencyOf))
          return deciding >= least ? 'true' : `(decided >= ${least} || floor >= ${least})`
        }
        case 'history':
          return anyOf(values.map(value => (value === 'left' ? 'has_left' : value)))
        case 'armed':
          return anyOf(
            flat.alarms.flatMap(({ name }, alarm) => {
              const moments = flat.nodes.flatMap(node => node.alarms.filter(each => each.alarm === alarm))
              const isMeant = values.includes(name) || moments.some(({ moment }) => values.includes(moment ?? ''))
              return isMeant ? [model.armed(alarm)] : []
            }),
          )
        case 'said':
          return anyOf(values.map(tagName))
        case 'in-force':
          return anyOf(
            flat.hazardous.flatMap((id, hazard) =>
              (flat.flow.advice.get(id)?.tags ?? []).some(tag => values.includes(tag)) ? [model.inForce(hazard)] : [],
            ),
          )
        default: {
          const policy = flat.policies[on]
          if (policy !== undefined) return String(values.includes(policy))
          return conditionOf(testFor(on, values, flat), flat, model.fact)
        }
      }
    }),
  )
}

/** What is judged once the reply is done. */
function verdictLines(rule: Rule, index: number, seen: Seen): string[] {
  const isBroken = brokenWhen(rule, index, seen)
  const number = index + 1
  return isBroken === 'false'
    ? []
    : ['if', `:: ${isBroken} -> broken = ${number}; assert(broken != ${number}); broken = 0`, ':: else', 'fi;']
}

function brokenWhen(rule: Rule, index: number, seen: Seen): string {
  const scope = scopeOf(rule, seen, 0, 'now')
  if (rule.universality !== undefined) return allOf([scope, `!${holdsIn(rule.universality, seen, 0)}`])
  const event = eventOf(rule)
  if (event === undefined) return 'false'
  const happens = [wholeOf(event, seen.model), isStepped(event) ? `scoped_${index + 1}` : scope]
  if (rule.absence !== undefined) return allOf(happens)
  const needed = rule.existence ?? rule.precedence?.needs
  if (needed !== undefined) {
    const { now, before } = seen.notes.of(needed, true)
    return allOf([...happens, `!${anyOf([now, ...(before === undefined ? [] : [before])])}`])
  }
  return rule.response === undefined ? 'false' : allOf([...happens, `!${goalsMet(rule, seen)}`])
}

const goalsMet = (rule: Rule, seen: Seen): string =>
  allOf(
    listOf(rule.response?.must).map(goal =>
      'holds' in goal ? holdsIn(goal.holds, seen, 0) : seen.notes.of(goal, false).now,
    ),
  )
