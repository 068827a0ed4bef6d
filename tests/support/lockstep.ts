/** Model and bot side by side: every move the model finds is made to happen to a case of the real bot. */
import type { Effect } from '../../src/case/effect.ts'
import type { Line } from '../../src/case/line.ts'
import { explore, TooManyStates } from '../../src/modelcheck/model/explore.ts'
import { type Move, mover } from '../../src/modelcheck/model/flat-step.ts'
import type { FlatFlow } from '../../src/modelcheck/model/tables.ts'
import { type Beside, botBeside, type Happened, moveText, stateText } from './bot-beside-model.ts'
import { isPage, isReply } from './case-talk.ts'

export interface Lockstep {
  /** States of the model that a case stood in. */
  readonly states: number
  /** Moves after which case and model were compared. */
  readonly compared: number
  /** Moves that this case cannot make, by the reason: there the model is wider. */
  readonly wider: ReadonlyMap<string, number>
  /** What was not the same, as a text to read. */
  readonly differences: readonly string[]
  /** All states were walked. */
  readonly isWhole: boolean
}

const DIFFERENCES_MOST = 5

/** Breadth first, talk replayed and answers corrected as the bot does it, up to some number of states. */
export function lockstep(line: Line, flat: FlatFlow, statesMost: number): Lockstep {
  const bot = botBeside(line, flat)
  const beside: (Beside | undefined)[] = []
  const wider = new Map<string, number>()
  const differences: string[] = []
  const entered: { readonly id: string; readonly isNew: boolean }[] = []
  let compared = 0
  let isWhole = true
  const note = (reason: string) => wider.set(reason, (wider.get(reason) ?? 0) + 1)
  try {
    explore(flat, {
      resume: 'replay',
      corrections: 'exact',
      statesMost,
      onMover(made) {
        made.onEntered = (node, _state, how) => entered.push({ id: flat.nodes[node]?.id ?? '', isNew: !how.replaying })
      },
      onEdge({ from, to, move, before, after }) {
        const steps = entered.splice(0)
        const here = from < 0 ? undefined : beside[from]
        if (from >= 0 && here === undefined) return note('no case came to this state')
        if (differences.length >= DIFFERENCES_MOST) return
        const happened = bot.happen(here, move, after)
        if (typeof happened === 'string') return note(happened)
        const problem = problemIn(flat, steps, happened, before, after, bot.read(happened))
        compared++
        if (problem === undefined) beside[to] ??= happened
        else
          differences.push(
            [
              `from  ${here === undefined ? 'the beginning' : stateText(flat, bot.read(here))}`,
              `move  ${moveText(flat, move)}`,
              `model ${stateText(flat, after)}`,
              `bot   ${stateText(flat, bot.read(happened))}`,
              problem,
            ].join('\n'),
          )
      },
    })
  } catch (error) {
    if (!(error instanceof TooManyStates)) throw error
    isWhole = false
  }
  return { states: beside.filter(each => each !== undefined).length, compared, wider, differences, isWhole }
}

/** The first thing that model and bot do not agree in. */
function problemIn(
  flat: FlatFlow,
  steps: readonly { readonly id: string; readonly isNew: boolean }[],
  happened: Happened,
  before: Int32Array | undefined,
  after: Int32Array,
  read: Int32Array,
): string | undefined {
  const wider = soonestFields(flat)
  const field = read.findIndex((value, index) => value !== after[index] && !(wider.has(index) && value === 0))
  if (field >= 0) return `field ${field} is ${read[field]}, not ${after[field]}`
  const ours = steps.map(({ id }) => id)
  if (ours.join() !== happened.entered.join()) return `entered ${happened.entered.join()}, not ${ours.join()}`
  return saidProblem(flat, ours, happened) ?? pageProblem(flat, steps, happened, before)
}

/** The soonest moment is no band of the clock: the model may set its alarm though it is past. There it is wider. */
const soonestFields = (flat: FlatFlow): ReadonlySet<number> =>
  new Set(
    flat.nodes.flatMap(node =>
      node.alarms.flatMap(({ alarm, moment }) => (moment === 'closure-soonest' ? [flat.fields.armed + alarm] : [])),
    ),
  )

/** The bot says nothing of a flow's advice but what the entered steps say, and asks what the model asks. */
function saidProblem(flat: FlatFlow, steps: readonly string[], { effects, state }: Happened): string | undefined {
  const { flow, nodes, fields: F } = flat
  const may = new Set(steps.flatMap(id => flow.steps.get(id)?.say ?? []))
  const parts = effects.find(isReply)?.parts ?? []
  const tagged = parts.flatMap(part =>
    part.kind === 'say' && (flow.advice.get(part.id)?.tags.length ?? 0) > 0 ? [part.id] : [],
  )
  const extra = tagged.find(id => !may.has(id) && id !== flow.closing)
  if (extra !== undefined) return `says "${extra}", which no entered step says`
  const asked = nodes[flat.nodeOf.get(state.kernel.talk) ?? F.talk]
  const open = asked !== undefined && asked.ask >= 0 ? flat.cells[asked.ask]?.fact : undefined
  return state.open?.fact === open ? undefined : `asks "${state.open?.fact}", not "${open}"`
}

/** Whoever was not paged yet is paged by the first step that pages; nobody is paged where no step does and nothing is told. */
function pageProblem(
  flat: FlatFlow,
  steps: readonly { readonly id: string; readonly isNew: boolean }[],
  { effects }: Happened,
  before: Int32Array | undefined,
): string | undefined {
  const wasPaged = before?.[flat.fields.paged] === 1
  const pages = steps.some(({ id }) => flat.flow.steps.get(id)?.page !== undefined)
  const sent = effects.filter((effect: Effect) => isPage(effect) && effect.why === 'page').length
  if (!wasPaged && steps.some(({ id, isNew }) => isNew && flat.flow.steps.get(id)?.page !== undefined) && sent === 0)
    return 'pages nobody, though a step that pages was entered'
  return !wasPaged && !pages && sent > 0 ? 'pages, though no step that pages was entered' : undefined
}

/** Walks drawn by chance: `walks` of them, `length` moves each. Steps come to are counted as `states`. */
export function lockstepWalks(
  line: Line,
  flat: FlatFlow,
  random: (below: number) => number,
  { walks, length }: { readonly walks: number; readonly length: number },
): Lockstep {
  const bot = botBeside(line, flat)
  const made = mover(flat, { resume: 'replay', corrections: 'exact' })
  const wider = new Map<string, number>()
  const differences: string[] = []
  const entered: { readonly id: string; readonly isNew: boolean }[] = []
  const seen = new Set<string>()
  let compared = 0
  const drawn = (state: Int32Array | undefined): Move | undefined => {
    const moves: Move[] = []
    if (state === undefined) made.starts(move => moves.push(move))
    else made.moves(state, move => moves.push(move))
    // Mostly answers, and danger seldom: an emergency is where every walk soon ends.
    const after = (move: Move) => made.again(state, move)[flat.fields.danger]
    const calm = random(8) === 0 ? moves : moves.filter(move => state?.[flat.fields.danger] === 1 || after(move) !== 1)
    const answers = calm.filter(move => move.kind === 'answered')
    const from = answers.length > 0 && random(4) > 0 ? answers : calm.length > 0 ? calm : moves
    return from[random(Math.max(1, from.length))]
  }
  for (let walk = 0; walk < walks && differences.length === 0; walk++) {
    let state: Int32Array | undefined
    let here: Beside | undefined
    const way: string[] = []
    for (let taken = 0; taken < length; taken++) {
      made.onEntered = () => {}
      const move = drawn(state)
      if (move === undefined) break
      entered.length = 0
      made.onEntered = (node, _state, how) => entered.push({ id: flat.nodes[node]?.id ?? '', isNew: !how.replaying })
      const after = made.again(state, move)
      const happened = bot.happen(here, move, after)
      if (typeof happened === 'string') {
        wider.set(happened, (wider.get(happened) ?? 0) + 1)
        continue
      }
      way.push(moveText(flat, move))
      compared++
      const problem = problemIn(flat, entered, happened, state, after, bot.read(happened))
      if (problem !== undefined) {
        differences.push(
          [
            way.join(', '),
            `model ${stateText(flat, after)}`,
            `bot   ${stateText(flat, bot.read(happened))}`,
            problem,
          ].join('\n'),
        )
        break
      }
      state = after
      here = happened
      for (const { id } of entered) seen.add(id)
    }
  }
  return { states: seen.size, compared, wider, differences, isWhole: false }
}
