/** What can happen next, in Promela: one choice among all events that are possible, told apart from what they do. */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'
import { STATUS, urgencyOf } from '../model/tables.ts'
import type { PromelaModel } from './model.ts'
import { anyOf, byteOf, hasClass, isReached, isStatus } from './words.ts'

/** Events of the printed model. */
export const EVENTS = [
  'OPENED',
  'ANSWERED',
  'DANGER_SAID',
  'PERSON_WANTED',
  'TRAVEL_REFUSED',
  'LEFT_SAID',
  'WRONG_TAP',
  'ALARM',
  'TIME',
  'RESTARTED',
  'GREW_OLDER',
] as const

/** Options of the choice, each one line or block; the first is the beginning of the case. */
export function eventLines(model: PromelaModel): string[] {
  if (!model.silence) return anyEvent(model)
  const alone = ['if', ...alarmLines(model), ...clockTimeLines(model), 'fi']
  return [
    ':: !quiet ->',
    '  if',
    ...indented(anyEvent(model)),
    '  fi',
    '/* From here nobody answers. Where nothing can happen any more, what is owed stays owed. */',
    ':: !quiet && may_owe ->',
    '  quiet = 1; owed = 1; may_owe = 0;',
    ...indented(alone),
    ':: quiet && owed ->',
    ...indented(alone),
  ]
}

function anyEvent(model: PromelaModel): string[] {
  return [
    ':: !begun ->',
    ...indented(openedLines(model)),
    ...answeredLines(model),
    ...alarmLines(model),
    ...timeLines(model),
    ...(model.interruptions ? interruptionLines(model) : []),
    ...(model.corrections === 'restart' ? restartedLines(model) : []),
  ]
}

export const indented = (lines: readonly string[]): string[] => lines.map(line => `  ${line}`)

function openedLines(model: PromelaModel): string[] {
  return ['event = OPENED; begun = 1;', ...saidLines(model)]
}

/** Talk begins anew: answers are forgotten, and anything may have been said before. */
function restartedLines(model: PromelaModel): string[] {
  const forgotten = model.flat.cells.flatMap((cell, field) =>
    cell.domain.document.sticky === true ? [] : [`${model.fact(field)} = 0;`],
  )
  return [
    ':: begun ->',
    ...indented([
      'event = RESTARTED;',
      ...forgotten,
      'elapsed = 0; time_left = 0; reachable = 0;',
      ...saidLines(model),
    ]),
  ]
}

/** What the first message may say of each fact; then how long it has been out, where that was said. */
function saidLines(model: PromelaModel): string[] {
  const { flat, fact } = model
  const said = flat.givable.flatMap(({ field, classes }) => [
    'if',
    ':: skip',
    ...classes.map(index => `:: ${fact(field)} = ${byteOf(STATUS.given, index)}`),
    'fi;',
  ])
  const out = model.special('out-since')
  const clock = out === undefined || !flat.givable.some(({ field }) => field === out) ? [] : clockLines(model, out)
  return [...said, ...clock]
}

function answeredLines(model: PromelaModel): string[] {
  const { flat, fact } = model
  return flat.nodes.flatMap((node, at) => {
    if (node.ask < 0) return []
    const lines = [
      `:: begun && talk == ${model.step(at)} -> event = ANSWERED;`,
      '  if',
      ...classesOf(model, node.ask).map(index => `  :: ${fact(node.ask)} = ${byteOf(STATUS.reached, index)}`),
      '  fi;',
    ]
    const isClock = [model.special('out-since'), model.special('travel')].includes(node.ask)
    return isClock ? [...lines, ...indented(clockLines(model, node.ask))] : lines
  })
}

const classesOf = ({ flat }: PromelaModel, field: number): number[] =>
  (flat.cells[field]?.domain.classes ?? []).map((_, index) => index)

/** Classes of a fact with a number or a time behind them. */
const isAnswered = (model: PromelaModel, field: number | undefined): string => {
  if (field === undefined) return 'false'
  const classes = (model.flat.cells[field]?.domain.classes ?? []).flatMap(({ band }, index) =>
    band === 'answered' ? [index] : [],
  )
  return hasClass(model.fact(field), classes)
}

/** How time can stand once it is known when the tube came out, and how far it is. `left`: time is left; `reach`: in time. */
function clockLines(model: PromelaModel, field: number): string[] {
  const out = isAnswered(model, model.special('out-since'))
  const way = isAnswered(model, model.special('travel'))
  const isOut = field === model.special('out-since')
  return [
    'if',
    `:: !${out} -> elapsed = 0; time_left = 0; reachable = 0`,
    `:: ${out} ->`,
    ...(isOut ? ['  if', '  :: elapsed = 0', '  :: elapsed = 1', '  :: elapsed = 2', '  fi;'] : []),
    '  if',
    `  :: !${way} -> time_left = 0; reachable = 0`,
    `  :: ${way} && elapsed == 0 -> time_left = 1; reachable = 1`,
    `  :: ${way} && elapsed == 0 -> time_left = 0; reachable = 1`,
    `  :: ${way} && elapsed == 0 -> time_left = 0; reachable = 0`,
    `  :: ${way} && elapsed > 0 -> time_left = 0; reachable = 0`,
    ...(isOut ? [`  :: ${way} && elapsed > 0 -> time_left = 0; reachable = 1`] : []),
    '  fi',
    'fi;',
  ]
}

/** A stored alarm may fire at or after its moment, as long as its moment is known at all. */
function alarmLines(model: PromelaModel): string[] {
  const { flat } = model
  const chased = flat.nodes.flatMap((node, at) => (node.ask >= 0 && !node.quiet ? [`talk == ${model.step(at)}`] : []))
  const speak = urgencyOf('speak')
  return flat.alarms.flatMap(({ name }, alarm) => {
    const when = (() => {
      // Once asked, a family that says nothing is not asked again before the clinician is told.
      if (name === SILENT_ASK && model.silence) return `(!quiet || !asked_once) && ${anyOf(chased)}`
      if (name === SILENT_ASK || name === SILENT_PAGE) return anyOf(chased)
      if (name === UNANSWERED)
        return `paged && !ran_out${flat.isOutpaced ? '' : ` && decided <= ${speak} && floor <= ${speak}`}`
      if (name === LEFT) return 'false'
      const moment = model.moment(alarm)
      const isKnown = moment === undefined ? 'true' : moment === 'arrival' ? 'has_left' : isOutKnown(model)
      return `${model.armed(alarm)} && ${isKnown}`
    })()
    return [`:: begun && ${when} -> event = ALARM; which = ${alarm + 1}`]
  })
}

/** The moment it came out is known to talk. */
export function isOutKnown(model: PromelaModel): string {
  const out = model.special('out-since')
  return out === undefined ? 'false' : `(${isReached(model.fact(out))} && ${isAnswered(model, out)})`
}

/** The way is known to talk. */
export function isWayKnown(model: PromelaModel): string {
  const way = model.special('travel')
  return way === undefined ? 'false' : `(${isReached(model.fact(way))} && ${isAnswered(model, way)})`
}

/** Time alone: no time is left, the latest moment passes, it is overdue. */
function clockTimeLines(model: PromelaModel): string[] {
  const out = isAnswered(model, model.special('out-since'))
  return [
    `:: begun && ${out} && time_left == 1 -> event = TIME; time_left = 0`,
    `:: begun && ${out} && time_left == 0 && elapsed == 0 -> event = TIME; elapsed = 1`,
    `:: begun && ${out} && elapsed == 1 -> event = TIME; elapsed = 2`,
  ]
}

/** Time, and a child's tract that grows older. */
function timeLines(model: PromelaModel): string[] {
  const clock = clockTimeLines(model)
  const placed = model.special('first-placed')
  if (placed === undefined) return clock
  const name = model.fact(placed)
  const classes = model.flat.cells[placed]?.domain.classes ?? []
  const named = (band: string) => classes.findIndex(each => each.band === band)
  const older = [
    ['under-first-days', 'under-settled'],
    ['under-settled', 'over-settled'],
  ].flatMap(([from, to]) => {
    const [now, next] = [named(from ?? ''), named(to ?? '')]
    if (now < 0 || next < 0) return []
    return [1, 2, 3].map(
      status =>
        `:: begun && ${isStatus(name, status)} && ${name} == ${byteOf(status, now)} -> event = GREW_OLDER; ${name} = ${byteOf(status, next)}`,
    )
  })
  return [...clock, ...older]
}

function interruptionLines(model: PromelaModel): string[] {
  const refused = model.special('can-travel')
  const no =
    refused === undefined ? '' : `; ${model.fact(refused)} = ${byteOf(STATUS.given, model.classNamed(refused, 'no'))}`
  const undone = ['have-you-left', 'have-you-arrived'].flatMap(fact => model.special(fact) ?? [])
  const back = undone.map(field => `; ${model.fact(field)} = 0`).join('')
  return [
    ':: begun -> event = DANGER_SAID',
    ':: begun -> event = PERSON_WANTED',
    `:: begun -> event = TRAVEL_REFUSED${no}${back}; has_left = 0`,
    ':: begun -> event = LEFT_SAID',
    ':: begun && danger -> event = WRONG_TAP',
  ]
}
