import { existsSync, readFileSync, statSync } from 'node:fs'
import { z } from 'zod'
import { writeWhole } from '../config/clinic-save.ts'
import type { LineNotice } from '../http/console/notice-page.ts'
import { type Instant, instant } from '../time/instant.ts'

/** What the clinic's people set for the whole line, beside its file: small, and kept over a restart. Holds nothing of a family. */
export interface DeskState {
  readonly notice?: LineNotice
  /** Which night was signed over last, by its beginning; when, and by whom. */
  /** The night, by its beginning, whose untaken cases the clinic's leads were told of. */
  readonly dayTold?: Instant
  /** The last change of the clinic's file by a page: undone by putting `text` back, while the file is what it made of it. */
  readonly undo?: {
    readonly at: Instant
    readonly by: string
    readonly sentence: string
    readonly hash: string
    readonly text: string
  }
  /** By case: whether its page was worth waking for, as whoever was woken judged it. */
  readonly judged?: Readonly<Record<string, { readonly isWorth: boolean; readonly at: Instant }>>
  /** The night, by its beginning, whose line was sent to those who had it. */
  readonly lineTold?: Instant
  /** Who said on a page that they have the telephone, when; shifts whose silence was told; the closing before which ways were tried. */
  readonly phones?: {
    readonly said: Readonly<Record<string, Instant>>
    readonly told: readonly string[]
    readonly tried?: Instant
  }
  /** By person or desk: the telephone number that somebody said is right, when and who. It holds for that number only. */
  readonly numbers?: Readonly<Record<string, { readonly number: string; readonly at: Instant; readonly by: string }>>
  readonly signedOver?: { readonly night: Instant; readonly at: Instant; readonly by: string }
}

export interface DeskFile {
  read(): DeskState
  /** Durable on return. */
  change(next: Partial<{ [K in keyof DeskState]: DeskState[K] | undefined }>): void
}

const moment = z.number().int().positive().transform(instant)
const shape = z.object({
  notice: z.object({ kind: z.enum(['closed', 'reduced']), until: moment.optional() }).optional(),
  dayTold: moment.optional(),
  undo: z.object({ at: moment, by: z.string(), sentence: z.string(), hash: z.string(), text: z.string() }).optional(),
  judged: z.record(z.string(), z.object({ isWorth: z.boolean(), at: moment })).optional(),
  lineTold: moment.optional(),
  phones: z
    .object({ said: z.record(z.string(), moment), told: z.array(z.string()), tried: moment.optional() })
    .optional(),
  numbers: z.record(z.string(), z.object({ number: z.string(), at: moment, by: z.string() })).optional(),
  signedOver: z.object({ night: moment, at: moment, by: z.string() }).optional(),
})

/** Opens the file; one that is damaged counts as empty: what it holds is set again in a minute. */
export function deskFile(file: string, onFault: (error: unknown) => void): DeskFile {
  let state: DeskState = {}
  let seen = ''
  /** Other processes of the line write here too: what stands on disk counts. */
  const fresh = (): DeskState => {
    const mark = markOf(file)
    if (mark !== seen) {
      state = readIn(file, onFault)
      seen = mark
    }
    return state
  }
  return {
    read: fresh,
    change(next) {
      const changed = clean({ ...fresh(), ...next })
      writeWhole(file, `${JSON.stringify(changed)}\n`)
      state = changed
      seen = markOf(file)
    },
  }
}

/** Changes with the file. */
function markOf(file: string): string {
  const found = statSync(file, { throwIfNoEntry: false })
  return found === undefined ? 'none' : `${found.mtimeMs} ${found.size} ${found.ino}`
}

function readIn(file: string, onFault: (error: unknown) => void): DeskState {
  if (!existsSync(file)) return {}
  try {
    return clean(shape.parse(JSON.parse(readFileSync(file, 'utf8'))))
  } catch (error) {
    onFault(error)
    return {}
  }
}

/** Without what is not set. */
function clean({
  notice,
  signedOver,
  undo,
  dayTold,
  phones,
  judged,
  lineTold,
  numbers,
}: { readonly [K in keyof DeskState]?: unknown }): DeskState {
  return {
    ...(notice === undefined ? {} : { notice: withoutUnset(notice) }),
    ...(signedOver === undefined ? {} : { signedOver }),
    ...(undo === undefined ? {} : { undo }),
    ...(dayTold === undefined ? {} : { dayTold }),
    ...(judged === undefined ? {} : { judged }),
    ...(lineTold === undefined ? {} : { lineTold }),
    ...(numbers === undefined ? {} : { numbers }),
    ...(phones === undefined ? {} : { phones: withoutUnset(phones) }),
  } as DeskState
}

const withoutUnset = (value: unknown): unknown =>
  Object.fromEntries(Object.entries(value as object).filter(([, each]) => each !== undefined))
