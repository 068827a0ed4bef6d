/** Every way of every vignette played, and those that come to something no other comes to kept for the tests. */
import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { ROOT } from '../support/clone.ts'
import { PINNED_WAYS, pinnedText, printOf, readPinnedWays } from '../support/pinned-ways.ts'
import { AS_IT_WAS, choosing, lineOn, playedSituations, shippedVignettes, waysOf } from '../support/situation-ways.ts'
import type { SuiteResult } from './world.ts'

export async function waysSuite({
  progress,
}: {
  progress: (share: number, line: string) => void
}): Promise<SuiteResult> {
  const { loaded, vignettes } = shippedVignettes()
  const line = lineOn(loaded, loaded.line.flows)
  const before = readPinnedWays()
  const isNew = choosing()
  const pinned = new Map<string, Map<string, string>>()
  const otherwise: string[] = []
  let ways = 0
  for (const [index, vignette] of vignettes.entries()) {
    for (const situation of (await playedSituations(loaded, vignette)).situations) {
      const kept = new Map<string, string>()
      for (const way of waysOf(situation, line)) {
        ways += 1
        if (isNew(way) || way.name === AS_IT_WAS) kept.set(way.name, printOf(way))
        const was = before.get(situation.id)?.get(way.name)
        if (was !== undefined && was !== printOf(way)) otherwise.push(`${situation.id}, ${way.name}`)
      }
      pinned.set(situation.id, kept)
    }
    progress((index + 1) / vignettes.length, `${index + 1} of ${vignettes.length} situations, ${ways} ways`)
  }
  const text = pinnedText(pinned)
  const isSame = existsSync(PINNED_WAYS) && readFileSync(PINNED_WAYS, 'utf8') === text
  writeFileSync(PINNED_WAYS, text)
  const kept = [...pinned.values()].reduce((sum, each) => sum + each.size, 0)
  return {
    isWell: true,
    figures: {},
    table: [
      ...otherwise.map(name => `goes otherwise: ${name}`),
      `${vignettes.length} situations, ${ways} ways; ${kept} kept in ${PINNED_WAYS.slice(ROOT.length)}${isSame ? ', as before' : ''}`,
    ],
  }
}
