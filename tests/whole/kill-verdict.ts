import { isDeepStrictEqual } from 'node:util'
import type { KillRecord } from './kill-record.ts'
import type { KillPlan } from './kill-run.ts'

/** An alarm may fire so much after it could, in real ms: three processes share two busy cores here. */
const LATE_MS_MOST = 2_500

/** What a run broke of what it was held against, in words; empty where every promise held. */
export function brokenIn(record: KillRecord, calm: KillRecord): string[] {
  return [
    ...notKilled(record),
    ...differing('what was done', record.done, calm.done),
    ...differing('the end', record.end, calm.end),
    ...messagesBroken(record, calm),
    ...pagesBroken(record, calm),
    ...alarmsBroken(record, calm),
  ]
}

function notKilled({ plan, kills }: KillRecord): string[] {
  return plan.kills
    .slice(kills.length)
    .map(kill => `it was never killed at ${kill}: the point was not passed so often, and nothing was shown`)
}

function differing(what: string, found: unknown, expected: unknown): string[] {
  if (isDeepStrictEqual(found, expected)) return []
  return [`${what} differs: ${JSON.stringify(found)}; without a kill: ${JSON.stringify(expected)}`]
}

/** Said again while nobody answers, every minute or so: a night that took longer may have heard it more often. */
const isFurther = (says: string): boolean => says.startsWith('still-nobody')

function messagesBroken({ messages }: KillRecord, calm: KillRecord): string[] {
  const saysOf = (one: KillRecord) => one.messages.map(({ says }) => says).filter(says => !isFurther(says))
  return [
    ...differing('what the family was told', saysOf({ messages } as KillRecord).toSorted(), saysOf(calm).toSorted()),
    ...messages.flatMap(({ says, status, seen }) => [
      ...(status === 'sent' ? [] : [`the message "${says}" is ${status}`]),
      ...(seen === 1 ? [] : [`the message "${says}" stands ${seen} times on the family's page`]),
    ]),
  ]
}

function pagesBroken({ pages, strayArrivals }: KillRecord, calm: KillRecord): string[] {
  const owed = new Set(pages.map(({ says }) => says))
  return [
    ...calm.pages.filter(({ says }) => !owed.has(says)).map(({ says }) => `nobody was owed the page "${says}"`),
    ...pages.flatMap(({ says, status, arrivals }) => {
      const unlabelled = arrivals.slice(1).filter(({ labelled }) => !labelled).length
      return [
        // Given up after answers that came too late, it has arrived all the same.
        ...(status === 'sent' || (status === 'given-up' && arrivals.length > 0)
          ? []
          : [`the page "${says}" is ${status}`]),
        ...(arrivals.length > 0 ? [] : [`the page "${says}" reached nobody`]),
        ...(unlabelled === 0 ? [] : [`the page "${says}" came again ${unlabelled} times without saying so`]),
        ...(arrivals[0]?.cut !== true || arrivals.length > 1
          ? []
          : [`the page "${says}" was cut off and not repeated`]),
      ]
    }),
    ...strayArrivals.map(({ how, to }) => `a page reached ${to} by ${how} that no step asked for`),
  ]
}

function alarmsBroken({ alarms, lostAlarms }: KillRecord, calm: KillRecord): string[] {
  const rungs = alarms.filter(({ name }) => name === 'rung').length
  const rungsCalm = calm.alarms.filter(({ name }) => name === 'rung').length
  return [
    ...lostAlarms.map(lost => `the alarm ${lost}`),
    ...(rungs >= rungsCalm ? [] : [`the ladder moved ${rungs} times; without a kill ${rungsCalm}`]),
    ...alarms
      .filter(({ lateMs }) => lateMs > LATE_MS_MOST)
      .map(({ name, lateMs }) => `the alarm ${name} fired ${lateMs} ms after it could`),
  ]
}

/** One row of the table of runs. */
export interface KillRow {
  readonly run: string
  /** Where each life ended, and what was under way there. */
  readonly killedAt: string
  readonly insideStep: boolean
  readonly insideTransaction: boolean
  readonly rowsUnderWay: number
  readonly messages: { readonly owed: number; readonly seen: number; readonly labelled: number }
  readonly pages: { readonly owed: number; readonly arrived: number; readonly twice: number; readonly labelled: number }
  readonly alarms: { readonly fired: number; readonly latestMs: number }
  /** From the kill until the process served again, real ms. */
  readonly downMs: number
  readonly broken: readonly string[]
}

export function rowOf(record: KillRecord, calm: KillRecord): KillRow {
  const { plan, kills, messages, pages, alarms, lives } = record
  const downs = lives.slice(1).map((life, index) => {
    const killedMs = lives[index]?.killed?.realMs ?? life.startedAt
    return (life.upAt ?? life.startedAt) - killedMs
  })
  return {
    run: plan.name,
    killedAt: kills.map(({ point, nth }) => `${point} #${nth}`).join(', '),
    insideStep: kills.some(({ insideStep }) => insideStep),
    insideTransaction: kills.some(({ insideTransaction }) => insideTransaction),
    rowsUnderWay: Math.max(0, ...kills.map(({ rowsUnderWay }) => rowsUnderWay)),
    messages: {
      owed: messages.length,
      seen: messages.filter(({ seen }) => seen >= 1).length,
      labelled: messages.filter(({ labelled }) => labelled).length,
    },
    pages: {
      owed: pages.length,
      arrived: pages.filter(({ arrivals }) => arrivals.length > 0).length,
      twice: pages.filter(({ arrivals }) => arrivals.length > 1).length,
      labelled: pages.filter(({ arrivals }) => arrivals.some(({ labelled }) => labelled)).length,
    },
    alarms: { fired: alarms.length, latestMs: Math.max(0, ...alarms.map(({ lateMs }) => lateMs)) },
    downMs: downs.reduce((sum, ms) => sum + ms, 0),
    broken: brokenIn(record, calm),
  }
}

/** A run that did not come to its end. */
export function notEnded({ name, kills }: KillPlan, why: string): KillRow {
  return {
    run: name,
    killedAt: kills.join(', '),
    insideStep: false,
    insideTransaction: false,
    rowsUnderWay: 0,
    messages: { owed: 0, seen: 0, labelled: 0 },
    pages: { owed: 0, arrived: 0, twice: 0, labelled: 0 },
    alarms: { fired: 0, latestMs: 0 },
    downMs: 0,
    broken: [`it did not come to its end: ${why}`],
  }
}

/** The rows for reading. */
export function killTable(rows: readonly KillRow[]): string {
  const heads = [
    'run',
    'killed at',
    'in a step',
    'in a transaction',
    'rows under way',
    'messages owed/seen/labelled',
    'pages owed/arrived/twice/labelled',
    'alarms fired/latest ms',
    'down ms',
    'held',
  ]
  const cells = rows.map(row => [
    row.run,
    row.killedAt === '' ? '-' : row.killedAt,
    row.insideStep ? 'yes' : 'no',
    row.insideTransaction ? 'yes' : 'no',
    String(row.rowsUnderWay),
    `${row.messages.owed}/${row.messages.seen}/${row.messages.labelled}`,
    `${row.pages.owed}/${row.pages.arrived}/${row.pages.twice}/${row.pages.labelled}`,
    `${row.alarms.fired}/${row.alarms.latestMs}`,
    String(Math.round(row.downMs)),
    row.broken.length === 0 ? 'yes' : 'NO',
  ])
  const widths = heads.map((head, column) =>
    Math.max(...[head, ...cells.map(row => row[column] ?? '')].map(w => w.length)),
  )
  const line = (row: readonly string[]) => row.map((cell, column) => cell.padEnd(widths[column] ?? 0)).join('  ')
  const inside = rows.filter(({ insideStep }) => insideStep).length
  return [
    line(heads),
    ...cells.map(line),
    `${rows.length} runs, ${inside} killed inside a step, ${rows.filter(row => row.insideTransaction).length} inside a transaction, ${rows.filter(row => row.rowsUnderWay > 0).length} with something on its way out`,
  ].join('\n')
}
