/** The pages *Reviews* in this process, for measurements: the file of reviews that serves, a reviewer who is signed in, no other page. */
import { join } from 'node:path'
import type { SignedIn } from '../accounts/signed-in.ts'
import { staffLine } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { consolePages } from '../http/console/console.ts'
import type { MeasuredReviews } from '../measure/subject.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { openReviewFile } from '../store/sqlite/review-file.ts'
import { footOf } from './family-pages.ts'
import { DEMO_CLINIC, type LoadedLine } from './load-line.ts'
import { reviewsOfBot } from './reviews-of-bot.ts'

export function measuredReviews(loaded: LoadedLine, folder: string): MeasuredReviews {
  const clock = systemClock()
  const random = systemRandom()
  const line = staffLine(loaded.line)
  const screen = loaded.screens.get(line.language)
  if (screen === undefined) throw new Error(`measure: no screen words in "${line.language}"`)
  const wording: Wording = (id, values) => screen.text(id, values as never)
  const reviewsFile = join(folder, 'reviews.sqlite')
  const faults: unknown[] = []
  const reviews = reviewsOfBot({
    ...{ clinicDir: DEMO_CLINIC, clock, random, wording, now: clock.now },
    changing: { current: () => loaded },
    store: NO_STORE,
    data: { key: Buffer.from('measure'), reviewsFile },
    trail: () => ({ change: async () => 'done' }),
    onFault: error => faults.push(error),
  })
  const who: SignedIn = {
    ...{ personId: 'measure', name: 'Measure', roles: ['reviewer', 'lead'], isOnCall: false },
    ...{ sessionId: 'measure', how: 'password' },
  }
  // Only the pages Reviews are asked for.
  const others = {} as never
  const { fetch } = consolePages({
    ...{ tonight: others, flows: others, trail: others, onCall: others, reviews: reviews.ports, wording },
    signedIn: async () => who,
    refused: async () => {},
    now: clock.now,
    clockText: String,
    desk: () => footOf(line, wording).clinic,
    randomId: () => random.hex(16),
    demonstration: true,
  })
  return {
    fill(summaries) {
      const file = openReviewFile(reviewsFile)
      file.keepSummaries(summaries)
      file.close()
    },
    async draw(month) {
      const said = await reviews.ports.draw(who, month)
      if (!said.isDone) throw new Error(`measure: ${month} was not drawn: ${said.says}`)
    },
    async open(path) {
      const response = await fetch(new Request(`http://localhost${path}`))
      const page = await response.text()
      if (response.status !== 200) throw new Error(`measure: ${path} answered ${response.status}; 200 was expected`)
      return page
    },
    async close() {
      await reviews.stop()
      if (faults.length > 0) throw faults[0]
    },
  }
}

/** Its cases have been summed up: no page that is measured goes back to one. */
const NO_STORE = {
  load: async () => undefined,
  recentHeads: async () => [],
  async *heads() {},
  history: async () => [],
}
