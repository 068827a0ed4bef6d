import type { StepRecord, Store } from '../store/store.ts'
import type { Conversation } from './conversation.ts'

export type Committing = Pick<Store, 'commit'>

/** Makes the steps of ever new cases. */
export function maker(conversation: Conversation): (steps: number) => readonly StepRecord[] {
  let made = 0
  return steps => {
    made += 1
    return conversation.of(`${made}`, steps)
  }
}

/** New cases, opened in the store; what is left is the steps still to come, so many of each, case by case. */
export async function opened(store: Committing, made: ReturnType<typeof maker>, cases: number, stepsACase: number) {
  const steps = Array.from({ length: cases }, () => made(stepsACase + 1))
  await Promise.all(steps.map(([first]) => (first === undefined ? undefined : committed(store, first))))
  return steps.map(([_opening, ...rest]) => rest)
}

export async function committed(store: Committing, step: StepRecord): Promise<void> {
  const result = await store.commit(step)
  if (result !== 'committed') throw new Error(`measure: a step came back as "${result}"; "committed" was expected`)
}

/** Commits all steps, each case's in order, round the cases, `inFlight` at a time; steps a second. */
export async function run(
  store: Committing,
  cases: readonly (readonly StepRecord[])[],
  inFlight: number,
): Promise<number> {
  const lanes = Array.from({ length: inFlight }, (_, lane) =>
    cases.filter((_steps, place) => place % inFlight === lane),
  )
  const steps = cases.reduce((sum, { length }) => sum + length, 0)
  const started = performance.now()
  await Promise.all(lanes.map(lane => inTurn(store, lane)))
  return (steps * 1_000) / (performance.now() - started)
}

/** The cases of one lane take turns: the next step written is never of the case just written. */
async function inTurn(store: Committing, lane: readonly (readonly StepRecord[])[]): Promise<void> {
  const longest = Math.max(0, ...lane.map(({ length }) => length))
  for (let turn = 0; turn < longest; turn += 1) {
    for (const steps of lane) {
      const step = steps[turn]
      if (step !== undefined) await committed(store, step)
    }
  }
}
