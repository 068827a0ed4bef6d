import { execFileSync } from 'node:child_process'
import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { beforeAll, describe, expect, test } from 'vitest'
import { POINTS } from '../../src/points/points.ts'
import { allPlans, somePlans } from './kill-plans.ts'
import type { KillRecord } from './kill-record.ts'
import { type KillPlan, killRun } from './kill-run.ts'
import { brokenIn, type KillRow, killTable, notEnded, rowOf } from './kill-verdict.ts'
import { root } from './process.ts'

/** All of them with LONG=1; else a few that another SEED draws anew. */
const isLong = process.env.LONG === '1'
const seed = Number(process.env.SEED ?? 20_260_301)
const plans = isLong ? allPlans(seed) : somePlans(seed, 6)
const CALM: KillPlan = { name: 'never killed', kills: [] }
/** Runs at once, each with a process of its own. */
const AT_ONCE = 3

describe('killed anywhere, started again: the night ends as if nothing had happened', () => {
  let calm: KillRecord
  const rows: KillRow[] = []

  beforeAll(
    async () => {
      const ended = new Map<string, KillRecord | string>()
      const left = [CALM, ...plans]
      const work = async (): Promise<void> => {
        for (let plan = left.shift(); plan !== undefined; plan = left.shift()) {
          ended.set(plan.name, await killRun(plan).catch((error: unknown) => String(error)))
          if (isLong) console.log(`${ended.size} of ${plans.length + 1} runs: ${plan.name}`)
        }
      }
      await Promise.all(Array.from({ length: AT_ONCE }, work))
      const found = ended.get(CALM.name)
      if (found === undefined || typeof found === 'string') throw new Error(found)
      calm = found
      for (const plan of [CALM, ...plans]) {
        const record = ended.get(plan.name) ?? 'it was not begun'
        rows.push(typeof record === 'string' ? notEnded(plan, record) : rowOf(record, calm))
      }
      console.log(killTable(rows))
      if (isLong) writeFigures(rows)
    },
    isLong ? 5_400_000 : 180_000,
  )

  test('without a kill every promise holds, and the ladder went to its end', () => {
    expect(brokenIn(calm, calm)).toEqual([])
    expect(new Set(calm.pages.map(({ says }) => says))).toEqual(
      new Set(
        ['page amara', 'repeat amara', 'page ingrid', 'repeat ingrid', 'taken ingrid', 'update amara']
          .flatMap(page => [`${page} smtp`, `${page} webhook`])
          .concat(['page ward-desk webhook', 'taken ward-desk webhook']),
      ),
    )
    expect(calm.end).toMatchObject({ disposition: 'set-out', taken: 'amara', left: true, outcome: 'seen-at-hospital' })
  })

  test.each(plans.map(({ name }) => name))('%s', name => {
    const row = rows.find(({ run }) => run === name)
    expect(row).toBeDefined()
    expect(row?.broken).toEqual([])
  })

  test('the long suite stops at every named point', () => {
    const stopped = new Set(allPlans(seed).flatMap(({ kills }) => kills.map(kill => kill.split('#')[0])))
    expect(POINTS.filter(point => !stopped.has(point))).toEqual([])
  })
})

/** The checks themselves: a record spoilt in one place is found out. A check that cannot fail shows nothing. */
describe('what a run is held against', () => {
  const message = { id: 'm', says: 'ask travel', status: 'sent', seen: 1, labelled: false } as const
  const arrival = { how: 'smtp', to: 'amara', id: 'p', labelled: false, text: '', atMs: 0, cut: false } as const
  const page = { id: 'p', says: 'page amara smtp', status: 'sent', arrivals: [arrival] } as const
  const sound: KillRecord = {
    plan: { name: 'sound', kills: [] },
    kills: [],
    lives: [],
    done: ['caseOpened: it is out', 'pageAcknowledged by amara'],
    messages: [message],
    pages: [page],
    strayArrivals: [],
    alarms: [{ name: 'rung', lateMs: 3 }],
    lostAlarms: [],
    end: { disposition: 'set-out' },
  }

  test('a sound run breaks nothing', () => {
    expect(brokenIn(sound, sound)).toEqual([])
  })

  test.each<[string, Partial<KillRecord>, RegExp]>([
    ['a kill that never came', { plan: { name: 'x', kills: ['store.begun#1'] } }, /never killed/],
    ['words lost', { done: ['pageAcknowledged by amara'] }, /what was done differs/],
    ['words taken twice', { done: [...sound.done, 'caseOpened: it is out'] }, /what was done differs/],
    ['another end', { end: { disposition: 'speak' } }, /the end differs/],
    ['a message lost', { messages: [] }, /what the family was told differs/],
    ['a message said twice', { messages: [message, message] }, /what the family was told differs/],
    ['a message not sent', { messages: [{ ...message, status: 'waiting' }] }, /is waiting/],
    ['a message without its row', { messages: [{ ...message, status: 'missing' }] }, /is missing/],
    ['a message twice on the page', { messages: [{ ...message, seen: 2 }] }, /stands 2 times/],
    ['a message not on the page', { messages: [{ ...message, seen: 0 }] }, /stands 0 times/],
    ['a page nobody was owed', { pages: [] }, /nobody was owed/],
    ['a page that reached nobody', { pages: [{ ...page, arrivals: [] }] }, /reached nobody/],
    ['a page given up', { pages: [{ ...page, status: 'given-up', arrivals: [] }] }, /is given-up/],
    ['a page still waiting', { pages: [{ ...page, status: 'waiting' }] }, /is waiting/],
    ['a page twice, unlabelled', { pages: [{ ...page, arrivals: [arrival, arrival] }] }, /without saying so/],
    ['a page cut off', { pages: [{ ...page, arrivals: [{ ...arrival, cut: true }] }] }, /cut off and not repeated/],
    ['a page no step asked for', { strayArrivals: [arrival] }, /no step asked for/],
    ['an alarm lost', { lostAlarms: ['rung is set, not stored'] }, /the alarm rung is set, not stored/],
    ['a ladder that stood still', { alarms: [] }, /the ladder moved 0 times/],
    ['an alarm that fired late', { alarms: [{ name: 'rung', lateMs: 60_000 }] }, /fired 60000 ms after/],
  ])('finds %s', (_, spoilt, expected) => {
    expect(brokenIn({ ...sound, ...spoilt }, sound).join('\n')).toMatch(expected)
  })

  test('lets a page come again that says so', () => {
    const again = { ...arrival, labelled: true }
    const pages = [{ ...page, arrivals: [{ ...arrival, cut: true }, again] }]
    expect(brokenIn({ ...sound, pages }, sound)).toEqual([])
  })
})

function writeFigures(rows: readonly KillRow[]): void {
  const commit = execFileSync('git', ['rev-parse', 'HEAD'], { cwd: root, encoding: 'utf8' }).trim()
  const figures = { date: new Date().toISOString().slice(0, 10), commit, seed, node: process.version, rows }
  mkdirSync(join(root, 'docs/figures'), { recursive: true })
  writeFileSync(join(root, 'docs/figures/kills.json'), `${JSON.stringify(figures, null, 2)}\n`)
}
