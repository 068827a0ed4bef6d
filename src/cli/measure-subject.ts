import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { StoreRoute } from '../config/store-section.ts'
import type { Subject } from '../measure/subject.ts'
import { lineUnderstanding } from '../runtime/line-understanding.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import type { Content, WholeStore } from '../store/store.ts'
import { readDate, readDuration, readMoment } from '../time/phrases.ts'
import { languageOf } from '../understand/language.ts'
import { openDataFolder } from './data-folder.ts'
import { labelledReadings, labelledTexts } from './labelled-readings.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { measuredReviews } from './measured-reviews.ts'
import { measuredTelegram } from './measured-telegram.ts'
import { openRedisOf } from './redis-at-hand.ts'
import { openSealedData } from './sealed-data.ts'
import { openStepByStep } from './step-by-step-store.ts'

/** The shipped flows, the invented clinic, the store that serves. */
export function measuredSubject(): Subject {
  const clock = systemClock()
  const { loaded, problems } = loadLine({ clinicDir: DEMO_CLINIC, at: clock.now() })
  if (loaded === undefined)
    throw new Error(`measure: the shipped flows do not load: ${problems[0]?.found ?? 'unknown'}`)
  const { line, lexicons, languages } = loaded
  const dataIn = (folder: string) => openDataFolder(join(folder, 'data'), systemRandom())
  const refuse = (error: unknown) => {
    throw error
  }
  /** A lease that a crowded machine renews late is renewed at the next turn; what is really wrong fails a step. */
  const ignored = () => undefined
  return {
    line,
    clock,
    understand: lineUnderstanding(line, {
      lexicons,
      languageOf: text => languageOf(text, languages),
      defaultRegion: 'US',
      times: { readMoment, readDate, readDuration },
    }),
    openStore: async folder =>
      (
        await openSealedData({
          data: dataIn(folder),
          mode: 'demonstration',
          onUnreadable: ({ error }) => refuse(error),
          onFault: refuse,
        })
      ).store,
    async openRedisStore(folder, port) {
      const { store } = await openSealedData({
        data: openDataFolder(folder, systemRandom()),
        store: routeTo(port, 'sh'),
        mode: 'demonstration',
        onUnreadable: ({ error }) => refuse(error),
        onFault: ignored,
      })
      await store.sharing?.start()
      return store
    },
    async openUnsealedRedisStore(port) {
      const store = await openRedisOf(routeTo(port, 'unsealed'), true, ignored)
      await store.sharing.start()
      // What comes out is what went in: text.
      return store as WholeStore<Content> as WholeStore
    },
    openTelegram: measuredTelegram,
    openReviews: folder => measuredReviews(loaded, folder),
    openStoreStepByStep: async folder => openStepByStep(dataIn(folder)),
    familiesServer: fileURLToPath(new URL('./measured-families.ts', import.meta.url)),
    launcher: fileURLToPath(new URL('./smallhours.js', import.meta.url)),
    corpus: labelledTexts,
    labelledReadings,
  }
}

const routeTo = (port: number, line: string): StoreRoute => ({
  addresses: [{ host: '127.0.0.1', port }],
  tls: false,
  line,
  mayLoseASecond: true,
  replicas: 0,
})
