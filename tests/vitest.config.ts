import { existsSync, statfsSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { defineConfig } from 'vitest/config'
import { ClosingLine } from './support/closing-line.ts'

/** Folders whose tests change nothing of their process: they share it, and what they import is read once. */
const SHARING = [
    'time', 'clinical', 'oncall', 'understand', 'case', 'flow', 'modelcheck', 'review',
    'accounts', 'calendar', 'config', 'channels', 'conversations', 'http', 'points', 'replay', 'sms', 'telegram',
].map(folder => `tests/${folder}/**/*.test.ts`) // biome-ignore format: one list

const IN_MEMORY = '/dev/shm'
const ROOM_BYTES = 4 * 2 ** 30

/**
 * Throwaway folders in memory where there is room: no test pulls the plug, and waiting for the disk was a quarter of the run.
 * What a commit asks of the disk is held by the tests that watch the calls.
 */
function temporaryFolder(): { TMPDIR?: string } {
  if (!existsSync(IN_MEMORY)) return {}
  const { bavail, bsize } = statfsSync(IN_MEMORY)
  return bavail * bsize >= ROOM_BYTES ? { TMPDIR: IN_MEMORY } : {}
}

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    setupFiles: ['tests/support/seed.ts'],
    reporters: ['default', new ClosingLine()],
    // Processes, not threads: tests start servers, change the zone and kill children. Four for two cores: many tests wait for a browser, a process or a clock.
    pool: 'forks',
    maxWorkers: 4,
    // On a build server, whose neighbours are not known: a test of a real process or browser may be late once, and is named.
    retry: process.env.CI === 'true' ? 1 : 0,
    testTimeout: 60_000,
    hookTimeout: 60_000,
    projects: [
      { extends: true, test: { name: 'sharing', include: SHARING, isolate: false } },
      { extends: true, test: { name: 'whole', include: ['tests/**/*.test.ts'], exclude: SHARING } },
    ],
    env: {
      ...temporaryFolder(),
      // A zone that no clinic in the tests uses, 12:45 or 13:45 ahead: nothing may rest on the machine's own.
      TZ: 'Pacific/Chatham',
      // The processes that tests start compile the bot once, not a hundred times.
      NODE_COMPILE_CACHE: fileURLToPath(new URL('../node_modules/.cache/smallhours-compiled', import.meta.url)),
    },
  },
})
