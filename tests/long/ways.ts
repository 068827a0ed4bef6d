/** Every way of every vignette played, and those that come to something no other comes to kept for the tests. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { choosing } from '../support/choosing-ways.ts'
import { ROOT } from '../support/clone.ts'
import { PINNED_WAYS, pinnedText, printOf, readPinnedWays } from '../support/pinned-ways.ts'
import { AS_IT_WAS, playedSituations, shippedVignettes, tellingLine, waysOf } from '../support/situation-ways.ts'
import type { SuiteResult } from './world.ts'

export async function waysSuite({
  progress,
}: {
  progress: (share: number, line: string) => void
}): Promise<SuiteResult> {
  const { loaded, vignettes } = shippedVignettes()
  const line = tellingLine(loaded)
  const before = readPinnedWays()
  const choice = choosing()
  const prints = new Map<string, Map<string, string>>()
  const otherwise: string[] = []
  let ways = 0
  for (const [index, vignette] of vignettes.entries()) {
    for (const situation of (await playedSituations(loaded, vignette)).situations) {
      const taken = new Map<string, string>()
      for (const way of waysOf(situation, line)) {
        ways += 1
        if (choice.take(situation.id, way) || way.name === AS_IT_WAS) taken.set(way.name, printOf(way))
        const was = before.get(situation.id)?.get(way.name)
        if (was !== undefined && was !== printOf(way)) otherwise.push(`${situation.id}, ${way.name}`)
      }
      prints.set(situation.id, taken)
    }
    progress((index + 1) / vignettes.length, `${index + 1} of ${vignettes.length} situations, ${ways} ways`)
  }
  const printsOf = (id: string, each: readonly { readonly name: string }[]) =>
    new Map(each.map(({ name }) => [name, prints.get(id)?.get(name) ?? '']))
  const needed = choice.needed()
  const pinned = new Map([...Map.groupBy(needed, each => each.situation)].map(([id, each]) => [id, printsOf(id, each)]))
  const text = pinnedText(pinned)
  const isSame = existsSync(PINNED_WAYS) && readFileSync(PINNED_WAYS, 'utf8') === text
  writeFileSync(PINNED_WAYS, text)
  return {
    isWell: true,
    figures: {},
    table: [
      ...otherwise.map(name => `goes otherwise: ${name}`),
      `${vignettes.length} situations, ${ways} ways; ${needed.length} kept in ${PINNED_WAYS.slice(ROOT.length)}${isSame ? ', as before' : ''}`,
    ],
  }
}
