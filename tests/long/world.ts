import type { Agent } from 'node:http'
import type { monitorEventLoopDelay } from 'node:perf_hooks'
import type { Clinicians } from './clinicians.ts'
import type { Ledger } from './ledger.ts'
import type { Sample } from './promises.ts'
import type { Receivers } from './receivers.ts'
import type { ServerProcess } from './server-process.ts'
import type { ShippedLines } from './shipped-lines.ts'
import type { Traffic } from './web-phone.ts'

export interface FamiliesOptions {
  readonly minutes: number
  readonly families: number
  readonly seed: string
  /** Called about once a second with the share done, from 0 to 1, and a line on what stands. */
  readonly progress: (share: number, line: string) => void
  /** Called with each promise broken as soon as it is seen. */
  readonly told: (line: string) => void
}

export interface SuiteResult {
  readonly isWell: boolean
  /** JSON figures for docs/figures. */
  readonly figures: Readonly<Record<string, unknown>>
  /** For people, at the end. */
  readonly table: readonly string[]
}

/** How soon an answer can be read and a page is at its receiver, in ms. */
export const WITHIN_MS = 5_000
/** Everything the run holds while it lasts. */
export interface World {
  readonly options: FamiliesOptions
  readonly server: ServerProcess
  readonly receivers: Receivers
  readonly ledger: Ledger
  readonly traffic: Traffic
  readonly agent: Agent
  readonly endsAt: number
  readonly samples: Sample[]
  readonly boardMs: number[]
  /** Load of the machine over a minute, at each look. */
  readonly loads: number[]
  /** How late the driver itself was, in ns: what it measures cannot be finer. */
  readonly delay: ReturnType<typeof monitorEventLoopDelay>
  readonly lines: ShippedLines
  readonly staff: Clinicians
  readonly isOver: () => boolean
}
