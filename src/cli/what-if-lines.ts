/** The two lines that a recorded case is held against one another on: the one it went on, and the one as it would be. */
import type { Line } from '../case/line.ts'
import { editionIn } from '../replay/edition.ts'
import type { ReadSoFar, RecordedCase } from '../replay/reading.ts'
import { onTables } from '../replay/table-kernel.ts'
import { flowShelf, type ShelvedFlows } from './flow-shelf.ts'
import { type Changes, clinicSaid, otherLine, settingsSaid } from './other-line.ts'
import { flowsFor, linesOf, readLine } from './replay.ts'

/** What would be other, as it was typed: enough to make the same lines again on another core. */
export interface WhatIfAsked {
  readonly clinic: string
  readonly flows?: string
  readonly settings: readonly string[]
  readonly rota?: string
  readonly data?: string
}

/** By the edition that a step was decided with. */
export interface LinesOfCase {
  readonly was: (edition: string) => Line
  readonly other: (edition: string) => Line
}

export interface WhatIfLines {
  readonly changes: Changes
  /** The flows a case was opened under; undefined where they are not here. */
  flowsOf(recorded: RecordedCase, file: ReadSoFar, onFault: (found: string) => void): ShelvedFlows | undefined
  of(file: ReadSoFar, flows: ShelvedFlows): LinesOfCase
}

/**
 * @returns undefined where the clinic or the changed flows cannot be read; what is wrong has been said
 * @throws CalledWrongly where settings or the rota are not what was expected
 */
export function whatIfLines(asked: WhatIfAsked): WhatIfLines | undefined {
  const loaded = readLine(asked.clinic, undefined)
  const changed = asked.flows === undefined ? undefined : readLine(asked.clinic, asked.flows)
  if (loaded === undefined || (asked.flows !== undefined && changed === undefined)) return undefined
  const settings = settingsSaid(asked.settings)
  const clinic = clinicSaid(asked.rota)
  const data = asked.data === undefined ? {} : { data: asked.data }
  const changes: Changes = {
    ...(changed === undefined
      ? {}
      : { flows: { set: onTables(changed.line.flows), hashes: changed.line.hashes ?? new Map() } }),
    ...(settings === undefined ? {} : { settings }),
    ...(clinic === undefined ? {} : { clinic }),
    ...data,
  }
  const shelf = flowShelf({ loaded, ...data }, onTables)
  return {
    changes,
    flowsOf: (recorded, file, onFault) => flowsFor(recorded, file, shelf, onFault),
    of(file, flows) {
      const was = linesOf(file, flows)
      return { was, other: othersOf(file, flows, changes, was) }
    },
  }
}

const OTHERS = new WeakMap<ReadSoFar, Map<object, Map<string, Line>>>()

/** The changed line of each edition of a file, made once. */
function othersOf(
  file: ReadSoFar,
  flows: ShelvedFlows,
  changes: Changes,
  was: LinesOfCase['was'],
): LinesOfCase['other'] {
  const bySet = OTHERS.get(file) ?? new Map<object, Map<string, Line>>()
  OTHERS.set(file, bySet)
  const made = bySet.get(flows) ?? new Map<string, Line>()
  bySet.set(flows, made)
  const { head, editions } = file
  if (head === undefined) throw new Error('a case was read before the head of its file')
  return id => {
    const known = made.get(id)
    if (known !== undefined) return known
    const edition = editions.get(id)
    if (edition === undefined) throw new Error(`edition ${id} was looked for before it was read`)
    const fresh = otherLine(changes, head)(was(id), editionIn(edition))
    made.set(id, fresh)
    return fresh
  }
}
