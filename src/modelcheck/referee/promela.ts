/**
 * A flow as a model in Promela, for SPIN: a second opinion on what the explorer finds. It is printed from the same tables,
 * and tells in its own words what an event does: steps are labels that talk jumps between, an event is one `d_step`, and
 * between events nothing is kept but what the explorer keeps. After an interruption talk is replayed from its start with
 * the answers on record, as the bot does it.
 */
import { LEFT, SILENT_ASK, SILENT_PAGE, UNANSWERED } from '../../flow/steps.ts'
import { type FlatFlow, type FlatNode, RESUME, STATUS, urgencyOf } from '../model/tables.ts'
import { inPieces } from './chunks.ts'
import { EVENTS, eventLines, indented, isOutKnown, isWayKnown } from './event.ts'
import { modelOf, type PromelaModel, type PromelaOptions } from './model.ts'
import { allOf, anyOf, byteOf, hasClass, isStatus } from './words.ts'

/** Where talk came from when it comes to rest. */
const AFTERWARDS = [
  'SETTLE',
  'INTERRUPTED',
  'MOVED_ON',
  'SILENT',
  'REPLAYED',
  'FIRED_AGAIN',
  'EMERGENCY_AGAIN',
] as const
const AMBULANCE = urgencyOf('ambulance')
/** Steps in one event: more is a circle. */
const STEPS_MOST = 4000

/** @throws when a fact has too many classes of answers for a byte */
export function promelaOf(flat: FlatFlow, options: PromelaOptions = {}): string {
  const model = modelOf(flat, options)
  const body = processLines(model)
  const lines = [
    `/* The flow "${flat.concern}" for SPIN. One event of a case is one step of the loop. */`,
    ...EVENTS.map((name, index) => `#define ${name} ${index + 1}`),
    ...AFTERWARDS.map((name, index) => `#define ${name} ${index + 1}`),
    ...flat.nodes.map((_, at) => `#define ${model.step(at)} ${at}`),
    ...model.definitions(),
    ...declarations(model),
    '',
    ...body,
    '',
    ...model.watch.claims,
  ]
  return `${lines.join('\n')}\n`
}

function declarations(model: PromelaModel): string[] {
  const { flat, fact, armed, armedAnew, inForce, inForceAnew, watch } = model
  const each = (count: number, name: (index: number) => string, type: string) =>
    Array.from({ length: count }, (_, index) => `${type} ${name(index)};`)
  return [
    'bit begun;',
    ...each(flat.cells.length, fact, 'byte'),
    'byte elapsed; bit time_left; bit reachable;',
    'byte talk; byte decided; byte floor;',
    'bit interrupted; bit danger; bit has_left; bit paged; bit ran_out;',
    ...each(flat.alarms.length, armed, 'bit'),
    ...waitingAlarms(model).map(({ alarm }) => `bit ${model.waits(alarm)};`),
    `byte fired[${flat.fields.firedMost}];`,
    ...each(flat.hazardous.length, inForce, 'bit'),
    '/* Nothing of what follows is kept between events: all of it is put back to 0. */',
    'byte event; byte which; byte after; byte place; byte other; bit replaying; bit again; bit leads_back; bit was_interrupted;',
    'short next;',
    'short steps; byte broken;',
    ...each(flat.alarms.length, armedAnew, 'bit'),
    ...each(flat.hazardous.length, inForceAnew, 'bit'),
    ...watch.declared,
  ]
}

function processLines(model: PromelaModel): string[] {
  return [
    'active proctype line() {',
    '  do',
    '  :: atomic {',
    '    if',
    ...indented(indented(eventLines(model))),
    '    fi;',
    ...indented(indented(inPieces(['begins:', ...model.watch.beginning, ...eventBody(model)]))),
    '  }',
    '  od',
    '}',
  ]
}

/** What an event does: where it leads, the steps, and what follows when talk rests or leads back. */
function eventBody(model: PromelaModel): string[] {
  const { flat } = model
  return [
    ...branch(
      EVENTS.map((name, index) => [index + 1, [`goto on_${name.toLowerCase()}`]] as const),
      'event',
    ),
    ...onEvents(model),
    ...flat.nodes.flatMap((node, at) => stepLines(model, node, at)),
    'rested: leads_back = 0; goto came_out;',
    'led_back: leads_back = 1;',
    'came_out:',
    ...branch(
      AFTERWARDS.map((name, index) => [index + 1, [`goto after_${name.toLowerCase()}`]] as const),
      'after',
    ),
    ...afterwards(model),
    ...replayLines(model),
    'settled:',
    ...waitingLines(model),
    ...model.watch.ending,
    'event = 0; which = 0; after = 0; place = 0; other = 0; replaying = 0; again = 0; leads_back = 0; was_interrupted = 0; steps = 0; broken = 0;',
    ...flat.alarms.map((_, alarm) => `${model.armedAnew(alarm)} = 0;`),
    ...flat.hazardous.map((_, hazard) => `${model.inForceAnew(hazard)} = 0;`),
    'next = 0;',
  ]
}

/** A choice by a number, as nested halves. */
function branch(cases: readonly (readonly [number, readonly string[]])[], on: string): string[] {
  if (cases.length === 0) return ['assert(false);']
  if (cases.length === 1) return [...(cases[0]?.[1] ?? []).map(line => `${line};`)]
  const middle = Math.floor(cases.length / 2)
  return [
    'if',
    `:: ${on} < ${cases[middle]?.[0] ?? 0} ->`,
    ...indented(branch(cases.slice(0, middle), on)),
    ':: else ->',
    ...indented(branch(cases.slice(middle), on)),
    'fi;',
  ]
}

const when = (condition: string, then: string): string => `if :: ${condition} -> ${then} :: else fi;`

function onEvents(model: PromelaModel): string[] {
  const { flat, interruptions, corrections } = model
  const entering = (id: string) => `goto ${model.enter(flat.nodeOf.get(id) ?? flat.start)};`
  const haveLeft = model.special('have-you-left')
  const leftAlarm = flat.alarmOf.get(LEFT)
  const canTravel = model.special('can-travel')
  const hasLeft =
    canTravel === undefined
      ? 'has_left = 1'
      : `has_left = 1; ${when(`!(${saysYes(model, canTravel)})`, `${model.fact(canTravel)} = 0`).replace(/;$/, '')}`
  const saidLeft =
    haveLeft === undefined
      ? ''
      : `${model.fact(haveLeft)} = ${byteOf(STATUS.given, model.classNamed(haveLeft, 'yes'))};`
  const toPerson = `was_interrupted = interrupted; interrupted = 1; after = INTERRUPTED; ${entering('shared/person')}`
  const signs = model.special('danger-signs')
  return [
    'on_opened:',
    `after = SETTLE; goto ${model.enter(flat.start)};`,
    'on_answered:',
    ...(haveLeft === undefined ? [] : [when(allOf([askIs(model, haveLeft), saysYes(model, haveLeft)]), hasLeft)]),
    ...(signs === undefined ? [] : [when(allOf([askIs(model, signs), isSign(model, signs)]), 'goto on_danger_said')]),
    'after = SETTLE;',
    ...branch(
      flat.nodes.flatMap((node, at) => (node.ask < 0 ? [] : [[at, [`goto ${model.leave(at)}`]] as const])),
      'talk',
    ),
    'on_danger_said:',
    `floor = ${AMBULANCE}; danger = 1; interrupted = 1; after = SETTLE; ${entering('shared/emergency')}`,
    ...(interruptions ? ['on_person_wanted:', toPerson] : ['on_person_wanted: goto settled;']),
    'on_travel_refused:',
    interruptions
      ? `was_interrupted = interrupted; interrupted = 1; after = INTERRUPTED; ${entering('shared/cannot-travel')}`
      : 'goto settled;',
    'on_left_said:',
    ...(!interruptions
      ? ['goto settled;']
      : leftAlarm === undefined
        ? [toPerson]
        : [
            when('has_left || interrupted', toPerson.replace(/;$/, '')),
            `${saidLeft} ${hasLeft}; which = ${leftAlarm + 1}; goto alarm_moves;`,
          ]),
    'on_wrong_tap:',
    'interrupted = 0;',
    ...dangerFacts(model).map(field => `${model.fact(field)} = 0;`),
    'goto replay;',
    'on_alarm:',
    ...alarmFires(model),
    'on_time: goto settled;',
    'on_grew_older: goto settled;',
    'on_restarted:',
    ...(corrections === 'none'
      ? ['goto settled;']
      : [
          'ran_out = 0;',
          ...Array.from({ length: flat.fields.firedMost }, (_, at) => `fired[${at}] = 0;`),
          'goto replay;',
        ]),
  ]
}

const dangerFacts = (model: PromelaModel): number[] =>
  ['danger-signs', 'wakes', 'breathes', 'colour-ok'].flatMap(fact => model.special(fact) ?? [])

const askIs = ({ flat, step }: PromelaModel, field: number): string =>
  anyOf(flat.nodes.flatMap((node, at) => (node.ask === field ? [`talk == ${step(at)}`] : [])))

const saysYes = (model: PromelaModel, field: number): string =>
  hasClass(model.fact(field), [model.classNamed(field, 'yes')])

const isSign = (model: PromelaModel, field: number): string =>
  hasClass(
    model.fact(field),
    (model.flat.cells[field]?.domain.classes ?? []).flatMap(({ band }, index) => (band === 'a-sign' ? [index] : [])),
  )

/** Alarms that wait for an answer to make their moment known: the moments are worked out from when it came out. */
function waitingAlarms(model: PromelaModel): { readonly alarm: number; readonly moment: string }[] {
  return model.flat.alarms.flatMap((_, alarm) => {
    const moment = model.moment(alarm)
    return moment === undefined || moment === 'arrival' ? [] : [{ alarm, moment }]
  })
}

/** One that waited, and whose moment turns out to be past, is not set; which ones wait now is noted for the next event. */
function waitingLines(model: PromelaModel): string[] {
  return waitingAlarms(model).flatMap(({ alarm, moment }) => [
    when(allOf([model.waits(alarm), isPast(model, moment)]), `${model.armed(alarm)} = 0`),
    `${model.waits(alarm)} = ${model.armed(alarm)} && !${isOutKnown(model)};`,
  ])
}

/** A moment that is known and lies behind. */
function isPast(model: PromelaModel, moment: string): string {
  const isAhead =
    moment === 'leave-by'
      ? allOf(['time_left == 1', isWayKnown(model), 'elapsed == 0'])
      : moment === 'closure-overdue'
        ? 'elapsed < 2'
        : 'elapsed == 0'
  return allOf([isOutKnown(model), `!(${isAhead})`])
}

/** A stored alarm: it is no longer set, time stands at its moment, and talk moves on. */
function alarmFires(model: PromelaModel): string[] {
  const { flat } = model
  const cases = flat.alarms.map(({ name }, alarm) => {
    const moment = model.moment(alarm)
    const lines: string[] = (() => {
      if (name === SILENT_ASK || name === SILENT_PAGE) return ['again = 1']
      if (name === UNANSWERED) return ['ran_out = 1']
      // What comes in an emergency is held, and comes again when talk is back.
      const gone = `if :: ${isInEmergency(model)} :: else -> ${model.armed(alarm)} = 0 fi`
      if (moment === 'leave-by' || moment === 'closure-soonest') return [gone, 'time_left = 0']
      if (moment === 'closure-latest') return [gone, 'if :: elapsed == 0 -> time_left = 0; elapsed = 1 :: else fi']
      if (moment === 'closure-overdue') return [gone, 'time_left = 0', 'elapsed = 2']
      return [gone]
    })()
    return [alarm + 1, lines] as const
  })
  return [
    ...branch(cases, 'which'),
    'alarm_moves:',
    when(isInEmergency(model), 'goto settled'),
    'was_interrupted = interrupted; interrupted = 1;',
    'if :: again -> after = SILENT :: else -> after = MOVED_ON fi;',
    'again = 0;',
    ...targets(model, 'which'),
  ]
}

const isInEmergency = ({ flat, step }: PromelaModel): string =>
  anyOf(flat.nodes.flatMap((node, at) => (node.isEmergency ? [`talk == ${step(at)}`] : [])))

const targets = (model: PromelaModel, on: string): string[] =>
  branch(
    model.flat.alarms.map(({ target }, alarm) => [alarm + 1, [`goto ${model.enter(target)}`]] as const),
    on,
  )

/** Entering a step and leaving it. */
function stepLines(model: PromelaModel, node: FlatNode, at: number): string[] {
  const { flat } = model
  const ask = node.ask < 0 ? undefined : model.fact(node.ask)
  const rests = `talk = ${model.step(at)}; goto rested`
  return [
    `${model.enter(at)}:`,
    `steps++; assert(steps < ${STEPS_MOST});`,
    ...(node.isEmergency ? ['interrupted = 1; danger = 1;'] : []),
    ...node.sets.map(({ field, cell }) => `${model.fact(field)} = ${byteOf(STATUS.reached, cell - 1)};`),
    ...model.watch.entering(at),
    ...(node.decides === 0
      ? []
      : [
          when(`interrupted && floor < ${node.decides}`, `floor = ${node.decides}`),
          when(`!interrupted && decided < ${node.decides}`, `decided = ${node.decides}`),
        ]),
    ...node.says.flatMap(id => {
      const hazard = flat.hazardous.indexOf(id)
      return hazard < 0 ? [] : [`${model.inForce(hazard)} = 1; ${model.inForceAnew(hazard)} = 1;`]
    }),
    ...(node.page === undefined ? [] : ['paged = 1;']),
    ...node.alarms.map(({ alarm, moment }) => setAlarm(model, alarm, moment)),
    ...node.cancels.map(alarm => `${model.armed(alarm)} = 0;`),
    ...(node.rests ? [`${rests};`] : []),
    ...(ask === undefined
      ? []
      : [
          ...(node.again ? [when('!replaying', `${ask} = 0`)] : []),
          when(`${ask} == 0`, rests),
          when(
            isStatus(ask, STATUS.recorded),
            `${ask} = ${ask} + ${byteOf(STATUS.reached, 0) - byteOf(STATUS.recorded, 0)}`,
          ),
        ]),
    ...(node.rests ? [] : [`${model.leave(at)}:`, ...rowLines(model, node)]),
  ]
}

function setAlarm(model: PromelaModel, alarm: number, moment: string | undefined): string {
  const anew = `${model.armedAnew(alarm)} = 1;`
  const armed = model.armed(alarm)
  if (moment === undefined || moment === 'arrival') {
    const known = `replaying && !${armed} && ${isToCome(model, alarm)}`
    return `${anew} if :: ${known} :: else -> ${armed} = 1 fi;`
  }
  return `${anew} if :: ${isPast(model, moment)} :: else -> ${armed} = 1; ${model.waits(alarm)} = !${isOutKnown(model)} fi;`
}

/** In a replay: its firing is still to be gone through again. */
const isToCome = ({ flat }: PromelaModel, alarm: number): string =>
  anyOf(Array.from({ length: flat.fields.firedMost }, (_, at) => `(place <= ${at} && fired[${at}] == ${alarm + 1})`))

function rowLines(model: PromelaModel, node: FlatNode): string[] {
  const [row, ...rest] = node.rows
  if (row === undefined) return ['assert(false); goto settled;']
  const go = row.go === RESUME ? 'goto led_back' : `goto ${model.enter(row.go)}`
  const condition = allOf(row.tests.map(model.condition))
  if (condition === 'true') return [`${go};`]
  return ['if', `:: ${condition} -> ${go}`, ':: else ->', ...indented(rowLines(model, { ...node, rows: rest })), 'fi;']
}

/** What follows, by what talk was doing. */
function afterwards(model: PromelaModel): string[] {
  const { flat } = model
  const most = flat.fields.firedMost
  const back = when('leads_back', 'goto replay')
  return [
    'after_settle:',
    back,
    'goto settled;',
    'after_interrupted:',
    'interrupted = was_interrupted;',
    back,
    'goto settled;',
    'after_moved_on: goto after_silent;',
    'after_silent:',
    'if :: leads_back || danger -> interrupted = was_interrupted :: else -> interrupted = 0 fi;',
    back,
    when('after == SILENT', 'goto settled'),
    '/* This alarm stands last among those that moved talk on. */',
    'place = 0; other = 0;',
    'do',
    `:: place < ${most} ->`,
    '  if',
    '  :: fired[place] != 0 && fired[place] != which -> fired[other] = fired[place]; other++',
    '  :: else',
    '  fi;',
    '  place++',
    ':: else -> break',
    'od;',
    `assert(other < ${most});`,
    'fired[other] = which; other++;',
    'do',
    `:: other < ${most} -> fired[other] = 0; other++`,
    ':: else -> break',
    'od;',
    'goto settled;',
    'after_replayed:',
    'place = 0;',
    'after_fired_again:',
    'goto next_fired;',
    'after_emergency_again:',
    'interrupted = 1; goto settled;',
  ]
}

/** Talk anew from its start: answers on record answer its questions, alarms that moved it on move it on again. */
function replayLines(model: PromelaModel): string[] {
  const { flat, fact } = model
  const always = [UNANSWERED, LEFT].flatMap(name => flat.alarmOf.get(name) ?? [])
  const onWay = anyOf([
    ...always.map(alarm => `(which == ${alarm + 1}${flat.alarms[alarm]?.name === LEFT ? ' && has_left' : ''})`),
    ...flat.alarms.map((_, alarm) => `(which == ${alarm + 1} && ${model.armedAnew(alarm)})`),
  ])
  return [
    'replay:',
    'again = danger && interrupted;',
    'interrupted = 0; decided = 0; replaying = 1; steps = 0; place = 0;',
    ...flat.cells.flatMap((cell, field) => {
      const { settable, sticky } = cell.domain.document
      if (settable === true) return sticky === true ? [] : [`${fact(field)} = 0;`]
      const recorded = byteOf(STATUS.reached, 0) - byteOf(STATUS.recorded, 0)
      return [when(isStatus(fact(field), STATUS.reached), `${fact(field)} = ${fact(field)} - ${recorded}`)]
    }),
    ...flat.alarms.map((_, alarm) => `${model.armedAnew(alarm)} = 0;`),
    ...flat.hazardous.map((_, hazard) => `${model.inForceAnew(hazard)} = 0;`),
    `after = REPLAYED; goto ${model.enter(flat.start)};`,
    'next_fired:',
    when(`place == ${flat.fields.firedMost}`, 'goto all_fired'),
    'which = fired[place];',
    when('which == 0', 'goto all_fired'),
    'place++;',
    when(`!${onWay} || ${isInEmergency(model)}`, 'goto next_fired'),
    'after = FIRED_AGAIN;',
    ...targets(model, 'which'),
    'all_fired:',
    ...flat.alarms.map((_, alarm) => when(`!${model.armedAnew(alarm)}`, `${model.armed(alarm)} = 0`)),
    ...flat.hazardous.map((_, hazard) => when(`!${model.inForceAnew(hazard)}`, `${model.inForce(hazard)} = 0`)),
    when('!again', 'goto settled'),
    `after = EMERGENCY_AGAIN; goto ${model.enter(flat.nodeOf.get('shared/emergency') ?? flat.start)};`,
  ]
}
