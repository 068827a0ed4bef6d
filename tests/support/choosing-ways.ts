/** Which of very many ways are kept for the tests: few that together come to everything that any of them comes to. */
import { AS_IT_WAS, type Way } from './situation-ways.ts'

/** What happened, between the step it happened at and what came of it. */
const BY_WHAT = / .*?(?=: )/

export interface Choosing {
  /** Looks at a way; true where it comes to something that no way before it came to. */
  take(situation: string, way: Way): boolean
  /** Of those taken, the ones that are needed. */
  needed(): readonly { readonly situation: string; readonly name: string }[]
}

/**
 * A way comes to what is told at a step after an answer, the words, pages and alarms, and to what it tells of the rows it came through.
 * Those as they were are needed always.
 */
export function choosing(): Choosing {
  const known = new Map<string, number>()
  const taken: { readonly situation: string; readonly name: string; readonly comesTo: readonly number[] }[] = []
  const numberOf = (what: string): number => {
    const number = known.get(what) ?? known.size
    known.set(what, number)
    return number
  }
  return {
    take(situation, { name, told, met }) {
      const size = known.size
      const words = told.map(line => line.replace(BY_WHAT, '').replaceAll(/\d+/g, '0'))
      const comesTo = [...new Set([...words, ...met].map(numberOf))]
      const isNew = known.size > size
      if (isNew || name === AS_IT_WAS) taken.push({ situation, name, comesTo })
      return isNew
    },
    needed() {
      const times = new Uint32Array(known.size)
      for (const { comesTo } of taken) for (const what of comesTo) times[what] = (times[what] ?? 0) + 1
      // From the first: a later one was taken for what all before it lacked, and mostly has what they have.
      return taken.filter(({ name, comesTo }) => {
        const isNeeded = name === AS_IT_WAS || comesTo.some(what => times[what] === 1)
        if (!isNeeded) for (const what of comesTo) times[what] = (times[what] ?? 0) - 1
        return isNeeded
      })
    },
  }
}
