/**
 * Tells a conversation that the checker found: the moves of the model become taps, words and waits, and are played with
 * the step that serves, so that what is shown is what the running bot says. Where answers can be given in several ways
 * (when the tube came out, how far it is), ways are tried until bot and model go together and the fault shows.
 */
import { factsAt } from '../../case/derive.ts'
import type { Line } from '../../case/line.ts'
import type { RuleDocument } from '../../flow/rule-document.ts'
import { type Instant, instant } from '../../time/instant.ts'
import { localParts } from '../../time/local-instants.ts'
import { type Move, mover } from '../model/flat-step.ts'
import { type FlatFlow, seenIn } from '../model/tables.ts'
import { changes, isOfClass, knownAnswers, lengthMs, type Turn, turnsFor } from './acts.ts'
import { beginNight, blankNight, type Night, type NightEntry, nightInstant, waits } from './night.ts'
import { type Act, type Wanted, wantedOf } from './script.ts'
import { amiss } from './seen.ts'

export interface Telling {
  readonly line: Line
  readonly flat: FlatFlow
  readonly way: readonly Move[]
  readonly resume: 'return' | 'replay'
  /** The rule that breaks, where it is one of flows/rules. */
  readonly rule?: RuleDocument
}

/** A conversation as both sides see it. */
export interface Told {
  readonly concern: string
  /** When it begins, in UTC. */
  readonly startsAt: string
  readonly policies: Readonly<Record<string, string>>
  /** Everything seen, in order; from `turn` on it is the last turn, in which the fault shows. */
  readonly entries: readonly NightEntry[]
  readonly turn: number
  readonly acts: readonly Act[]
  /** Place in `acts` from which on `wanted` counts. */
  readonly from: number
  readonly wanted: readonly Wanted[]
  /** Steps that talk came to, each once, in order. */
  readonly steps: readonly string[]
  /** The running bot does it too. False: only the checker's model does, and `entries` ends where they part. */
  readonly isShown: boolean
}

/** Ways tried for one conversation before it is given up. */
const TRIES_MOST = 4000

export function tell(told: Telling): Told {
  const telling = silentMsOf(told) === undefined ? told : { ...told, way: untilSilence(told.way) }
  const wanted = telling.rule === undefined ? [] : wantedOf(telling.rule)
  const furthest: Furthest = { turns: -1, path: undefined }
  return (
    search(telling, wanted, true, furthest) ??
    (isMadeAnew(telling.way) ? undefined : search(telling, wanted, false, furthest)) ??
    search(telling, [], false, furthest) ??
    unshown(telling, wanted, furthest)
  )
}

/** How far the bot went along at best. */
interface Furthest {
  turns: number
  path: Path | undefined
}

/** Talk began again on the way: answers given before are then changed one by one, and steps between do not compare. */
const isMadeAnew = (way: readonly Move[]): boolean => way.some(({ kind }) => isAnew(kind))

const isAnew = (kind: Move['kind']): boolean => kind === 'restarted' || kind === 'wrong-tap'

interface Path {
  readonly night: Night
  readonly acts: readonly Act[]
}

/** Depth first; `isStrict`: talk and derived facts agree with the model after each move. */
function search(telling: Telling, wanted: readonly Wanted[], isStrict: boolean, furthest: Furthest): Told | undefined {
  const { flat, way, resume } = telling
  const models = statesOn(flat, way, resume)
  const anewAt = way.findIndex(({ kind }) => isAnew(kind))
  const [opening, ...rest] = way
  const last = rest.length - 1
  let tries = 0

  const compares = (index: number) => isStrict && (anewAt === -1 || index + 1 < anewAt)

  function onward(path: Path, index: number, before: Path): Told | undefined {
    if (index > furthest.turns) Object.assign(furthest, { turns: index, path })
    if (index > last) return ending(telling, wanted, before, path)
    const move = rest[index] as Move
    const turns =
      anewAt !== -1 && index + 1 > anewAt ? turnsAnew(path.night, move, telling) : turnsFor(path.night, move, flat)
    for (const { acts, night, eve } of turns) {
      if (++tries > TRIES_MOST) return undefined
      if (compares(index) && !isAlike(night, models[index + 1] as Int32Array, flat)) continue
      const before = eve === undefined ? path : { night: eve.night, acts: [...path.acts, ...eve.acts] }
      const told = onward({ night, acts: [...path.acts, ...acts] }, index + 1, before)
      if (told !== undefined) return told
    }
    return undefined
  }

  // What was told before talk began anew may not have been told at first in the model; in the bot it was.
  const told = way.filter(({ kind, arg }) => isAnew(kind) && arg !== 0)
  for (const path of [opening, ...told].flatMap(move => beginnings(telling, move))) {
    if (isStrict && anewAt === -1 && !isAlike(path.night, models[0] as Int32Array, flat)) continue
    const told = onward(path, 0, path.before)
    if (told !== undefined) return told
  }
  return undefined
}

/** The states of the model after each move. */
function statesOn(flat: FlatFlow, way: readonly Move[], resume: 'return' | 'replay'): readonly Int32Array[] {
  const walker = mover(flat, { resume })
  const states: Int32Array[] = []
  for (const move of way) states.push(walker.again(states.at(-1), move))
  return states
}

function beginnings({ line, flat }: Telling, opening: Move | undefined): readonly (Path & { readonly before: Path })[] {
  const at = nightInstant(line.clinic.zone)
  const known = knownAnswers(line, flat, opening?.arg ?? 0, at)
  const title = line.flows.wording.get(line.language)
  const concern = title?.has(`concern/${flat.concern}`) === true ? title.text(`concern/${flat.concern}`) : flat.concern
  const combined = known.reduce<{ fact: string; way: (typeof known)[number]['ways'][number] }[][]>(
    (each, { fact, ways }) => each.flatMap(chosen => ways.map(way => [...chosen, { fact, way }])),
    [[]],
  )
  return combined.map(chosen => {
    const said = [concern, ...chosen.map(({ way }) => way.text)].join('. ')
    const knows = Object.fromEntries(chosen.map(({ fact, way }) => [fact, way.answer]))
    const told = chosen.map(({ fact, way }): Act => ({ kind: 'knows', fact, values: way.taps ?? [way.text] }))
    const before = { night: blankNight(line, flat.concern, at), acts: told }
    const night = beginNight(before.night, knows, said)
    return { night, acts: [...told, { kind: 'start', concern: flat.concern }], before }
  })
}

/** After talk began again: what is on record stays unless the model answers otherwise. */
function turnsAnew(night: Night, move: Move, { flat, way, resume }: Telling): readonly Turn[] {
  if (move.kind !== 'answered') return turnsFor(night, move, flat)
  const states = statesOn(flat, way.slice(0, way.indexOf(move)), resume)
  const field = flat.nodes[states.at(-1)?.[flat.fields.talk] ?? 0]?.ask ?? -1
  const fact = flat.cells[field]?.fact ?? ''
  if (night.state.open?.fact === fact) return turnsFor(night, move, flat)
  if (isOfClass(night, flat, field, move.arg)) return [{ acts: [], night }]
  return changes(night, flat, field, move.arg)
}

/** Talk stands at the same step, and every derived fact is the same. */
function isAlike(night: Night, model: Int32Array, flat: FlatFlow): boolean {
  if (night.state.kernel.talk !== flat.nodes[model[flat.fields.talk] as number]?.id) return false
  const facts = factsAt(night.line, night.state, night.at)
  const clock = { elapsed: flat.fields.elapsed, 'time-left': flat.fields.timeLeft, reachable: flat.fields.reachable }
  return [...flat.derived].every(([id, { value }]) => {
    if (!(id in night.line.flows.derived)) return true
    const modelled = value({
      band: fact => {
        const field = flat.fieldOf.get(fact)
        const cell = field === undefined ? undefined : flat.cells[field]
        return field === undefined || cell === undefined ? undefined : seenIn(cell, model[field] as number)?.band
      },
      clock: field => model[clock[field]] as number,
    })
    return facts[id] === modelled
  })
}

/** The end of a way: silence where the rule speaks of it; a told conversation where the fault shows. */
function ending(telling: Telling, wanted: readonly Wanted[], before: Path, path: Path): Told | undefined {
  const silent = silentMsOf(telling)
  const minutes = silent === undefined ? 0 : Math.ceil(silent / 60_000)
  const start = silent === undefined ? before : path
  const night = silent === undefined ? path.night : waits(path.night, instant(path.night.at + minutes * 60_000))
  const acts: readonly Act[] = minutes === 0 ? path.acts : [...path.acts, { kind: 'wait', minutes }]
  const stretch = {
    line: night.line,
    before: start.night.state,
    after: night.state,
    at: night.at,
    effects: night.effects.slice(start.night.effects.length),
    earlier: start.night.effects,
  }
  const wrong = amiss(stretch, wanted)
  if (wanted.length > 0 && wrong.length === 0) return undefined
  return {
    ...frameOf(telling),
    entries: night.entries,
    turn: start.night.entries.length,
    acts,
    from: start.acts.length,
    wanted: wrong,
    steps: Object.keys(night.state.enteredAt),
    isShown: wanted.length > 0 || telling.rule === undefined,
  }
}

/** How long the rule lets silence last; undefined where it does not speak of silence. */
function silentMsOf({ line, rule }: Telling): number | undefined {
  const within = rule?.response?.within
  if (within === undefined || within === 'same-reply') return undefined
  const setting = (line.settings as unknown as Readonly<Record<string, unknown>>)[within.silent]
  return typeof setting === 'number' ? setting : lengthMs(within.silent)
}

/** What comes after the family's last turn is silence: the clock of the night itself brings it. */
function untilSilence(way: readonly Move[]): readonly Move[] {
  const last = way.findLastIndex(({ kind }) => kind !== 'alarm' && kind !== 'time')
  return way.slice(0, last + 1)
}

const frameOf = ({ flat, line }: Telling) => ({
  concern: flat.concern,
  startsAt: utcText(nightInstant(line.clinic.zone)),
  policies: Object.fromEntries(Object.entries(flat.policies).filter(([, value]) => value !== 'off')),
})

const utcText = (at: Instant): string => {
  const { year, month, day, hour, minute } = localParts(at, 'UTC')
  const two = (value: number) => String(value).padStart(2, '0')
  return `${year}-${two(month)}-${two(day)}T${two(hour)}:${two(minute)}:00Z`
}

/** What the bot does as far as it goes along. */
function unshown(telling: Telling, wanted: readonly Wanted[], { path }: Furthest): Told {
  const shown = path ?? beginnings(telling, telling.way[0])[0]
  return {
    ...frameOf(telling),
    entries: shown?.night.entries ?? [],
    turn: 0,
    acts: shown?.acts ?? [],
    from: shown?.acts.length ?? 0,
    wanted,
    steps: Object.keys(shown?.night.state.enteredAt ?? {}),
    isShown: false,
  }
}
