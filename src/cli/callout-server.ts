import { serve } from '@hono/node-server'
import { Hono } from 'hono'
import { staffLine } from '../case/line.ts'
import { clinicAnswers } from '../http/clinic-page.ts'
import { testCalloutPages } from '../http/console/test-callout-pages.ts'
import type { Clock } from '../runtime/clock.ts'
import { systemRandom } from '../runtime/system-clock.ts'
import { claimServing } from '../store/sqlite/serving-lock.ts'
import type { DataFolder } from './data-folder.ts'
import { footOf } from './family-pages.ts'
import type { LoadedLine } from './load-line.ts'
import { testCalloutSide } from './test-callout-side.ts'
import type { TestCallouts } from './test-callouts.ts'

/** Where the link of a test call-out is answered. */
export interface Standing {
  readonly origin: string
  stop(): Promise<void>
}

const DEFAULT_ORIGIN = 'http://localhost:8080'

/**
 * The running bot where one serves the data folder: it reads what this command writes there. Otherwise a small server of this
 * command's own, which has that one page and nothing else, until it ends.
 */
export async function standingIn(given: {
  readonly loaded: LoadedLine
  readonly data: DataFolder
  readonly callouts: TestCallouts
  readonly clock: Clock
  readonly port: number
  readonly origin?: string
}): Promise<Standing> {
  const { loaded, data, callouts, clock, port } = given
  const { webAddress } = loaded.line.clinic
  const lock = claimed(data.servingFile)
  if (lock === undefined) return { origin: given.origin ?? webAddress ?? DEFAULT_ORIGIN, stop: async () => undefined }
  const line = staffLine(loaded.line)
  const screen = loaded.screens.get(line.language) ?? loaded.screens.get(loaded.line.language)
  if (screen === undefined) throw new Error(`no screen words in "${line.language}"`)
  const wording = (id: string, values?: Record<string, string | number>) => screen.text(id, values as never)
  const ports = {
    wording,
    desk: () => footOf(line, wording).clinic,
    randomId: () => systemRandom().hex(16),
    demonstration: line.clinic.demonstration,
    language: line.language,
  }
  const app = new Hono()
  testCalloutPages(
    app,
    clinicAnswers(ports),
    ports,
    testCalloutSide({ callouts, key: data.key, line: () => line, now: () => clock.now() }),
  )
  const listening = await new Promise<{ readonly port: number; stop(): Promise<void> }>((resolve, reject) => {
    const server = serve({ fetch: app.fetch, port, hostname: '127.0.0.1' }, info =>
      resolve({ port: info.port, stop: () => new Promise(done => server.close(() => done())) }),
    )
    server.on('error', reject)
  }).catch(error => {
    lock.release()
    throw error
  })
  return {
    origin: given.origin ?? webAddress ?? `http://localhost:${listening.port}`,
    async stop() {
      await listening.stop()
      lock.release()
    },
  }
}

/** Undefined where a bot serves the folder. */
function claimed(file: string): ReturnType<typeof claimServing> | undefined {
  try {
    return claimServing(file, process.pid)
  } catch (cause) {
    if (cause instanceof Error && cause.name === 'StoreUnusable') return undefined
    throw cause
  }
}
