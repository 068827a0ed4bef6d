import { existsSync, readFileSync, statSync } from 'node:fs'
import { z } from 'zod'
import { writeWhole } from '../config/clinic-save.ts'
import { type Instant, instant } from '../time/instant.ts'

/** One test call-out of a person or desk: what went out, and whether they answered. */
export interface TestCallout {
  /** 32 hexadecimal digits. */
  readonly id: string
  readonly who: string
  readonly at: Instant
  /** What became of it at each address, in the order of the clinic's file. */
  readonly ways: readonly { readonly pager: string; readonly outcome: 'accepted' | 'unknown' | 'refused' }[]
  /** Ways that were taken, and did not get to the telephone as was told later. */
  readonly lost?: readonly string[]
  /** When its link was answered with "I have this phone". */
  readonly answeredAt?: Instant
}

/** The test call-outs of a data folder, the latest of each person. Holds nothing of a family. */
export interface TestCallouts {
  latestOf(who: string): TestCallout | undefined
  of(id: string): TestCallout | undefined
  /** When somebody last answered one. */
  confirmedAt(who: string): Instant | undefined
  /** When somebody last answered one that went out by this way alone. */
  wayConfirmedAt(who: string, pager: string): Instant | undefined
  /** Durable on return. */
  keep(callout: TestCallout): void
}

/** Kept of one person, at most: the last answered and the last sent among them. */
const KEPT_EACH = 12

const moment = z.number().int().positive().transform(instant)
const shape = z.array(
  z.object({
    id: z.string(),
    who: z.string(),
    at: moment,
    ways: z.array(z.object({ pager: z.string(), outcome: z.enum(['accepted', 'unknown', 'refused']) })),
    lost: z.array(z.string()).optional(),
    answeredAt: moment.optional(),
  }),
)

export function testCallouts(file: string, onFault: (error: unknown) => void): TestCallouts {
  let all: readonly TestCallout[] = []
  let seen = ''
  /** A command beside the running bot writes here too: what stands on disk counts. */
  const fresh = (): readonly TestCallout[] => {
    const mark = markOf(file)
    if (mark !== seen) {
      all = readIn(file, onFault)
      seen = mark
    }
    return all
  }
  return {
    latestOf: who => fresh().findLast(one => one.who === who),
    of: id => fresh().find(one => one.id === id),
    confirmedAt: who => fresh().findLast(one => one.who === who && one.answeredAt !== undefined)?.answeredAt,
    wayConfirmedAt: (who, pager) =>
      fresh().findLast(
        one => one.who === who && one.answeredAt !== undefined && one.ways.length === 1 && one.ways[0]?.pager === pager,
      )?.answeredAt,
    keep(callout) {
      const others = fresh().filter(one => one.id !== callout.id)
      const own = others.filter(one => one.who === callout.who)
      const kept = new Set([
        ...own.slice(-KEPT_EACH),
        ...own.filter(({ answeredAt }) => answeredAt !== undefined).slice(-1),
      ])
      const next = [...others.filter(one => one.who !== callout.who || kept.has(one)), callout]
      writeWhole(file, `${JSON.stringify(next)}\n`)
      all = next
      seen = markOf(file)
    },
  }
}

/** Changes with the file. */
function markOf(file: string): string {
  const found = statSync(file, { throwIfNoEntry: false })
  return found === undefined ? 'none' : `${found.mtimeMs} ${found.size} ${found.ino}`
}

function readIn(file: string, onFault: (error: unknown) => void): readonly TestCallout[] {
  if (!existsSync(file)) return []
  try {
    return shape.parse(JSON.parse(readFileSync(file, 'utf8'))).map(({ answeredAt, lost, ...one }) => ({
      ...one,
      ...(lost === undefined ? {} : { lost }),
      ...(answeredAt === undefined ? {} : { answeredAt }),
    }))
  } catch (error) {
    onFault(error)
    return []
  }
}
