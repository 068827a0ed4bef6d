import { Worker } from 'node:worker_threads'
import type { FigureTable } from '../review/figure-table.ts'

/** What a helper is given: names as they are, since a function cannot be handed over. */
export interface FiguresTask {
  /** The file of reviews. */
  readonly file: string
  readonly month: string | undefined
  readonly concerns: Readonly<Record<string, string>>
  readonly facts: Readonly<Record<string, string>>
  readonly outcomes: Readonly<Record<string, string>>
}

/** Figures that stand ready. A page never waits for them: it shows the last, or says that they are being worked out. */
export interface FiguresAside {
  /**
   * The tables of a month, or of all; undefined while there are none yet.
   *
   * @param state  of what they are made from: where it is another than at the last time, they are worked out anew
   */
  ready(month: string | undefined, state: string): readonly FigureTable[] | undefined
  /** Resolves when nothing is being worked out. */
  settled(): Promise<void>
}

/** One at a time, so that a second core is left to everything else. */
export function figuresAside(
  task: (month: string | undefined) => FiguresTask,
  onFault: (error: unknown) => void,
): FiguresAside {
  const kept = new Map<string, { readonly state: string; readonly tables: readonly FigureTable[] }>()
  const wanted = new Set<string>()
  let queue: Promise<void> = Promise.resolve()

  const worked = (month: string | undefined): Promise<readonly FigureTable[]> =>
    new Promise((resolve, reject) => {
      const helper = new Worker(new URL('./figures-helper.ts', import.meta.url), { workerData: task(month) })
      helper.once('message', resolve)
      helper.once('error', reject)
      helper.once('exit', code => reject(new Error(`figures: the helper ended with ${code} and no answer`)))
    })

  return {
    ready(month, state) {
      const key = month ?? ''
      const last = kept.get(key)
      if (last?.state !== state && !wanted.has(key)) {
        wanted.add(key)
        queue = queue
          .then(async () => {
            kept.set(key, { state, tables: await worked(month) })
          })
          .catch(onFault)
          .finally(() => wanted.delete(key))
      }
      return last?.tables
    },
    settled: () => queue,
  }
}
