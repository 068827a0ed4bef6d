/** What a check says on a terminal: a line a flow, then what breaks, each with the end of its conversation. */

import { problemText } from '../flow/problem.ts'
import { NOT_SHOWN } from '../modelcheck/telling/page.ts'
import { toldLines, wrapped } from '../modelcheck/telling/text.ts'
import type { Checked, Violation } from './check-run.ts'
import { tapLine } from './tap-figures.ts'

/** Lines of a conversation shown without `--verbose`. */
const SHOWN_LINES = 14
/** Findings shown with their conversation, and named, without `--verbose`. */
const TOLD_MOST = 2
const NAMED_MOST = 12

export function checkLines(checked: Checked, isVerbose: boolean): readonly string[] {
  const { violations } = checked
  const told = isVerbose ? violations.length : TOLD_MOST
  const named = isVerbose ? violations.length : NAMED_MOST
  const more = violations.length - named
  return [
    ...flowLines(checked),
    ...violations
      .slice(0, named)
      .flatMap((each, index) => violationLines(each, index + 1, checked, index < told, isVerbose)),
    ...(more > 0 ? ['', `… and ${more} more: --verbose tells all of them.`] : []),
    ...(violations.length > 0 ? ['', READ_MORE] : []),
  ]
}

const AS_BEFORE = 'as checked before: nothing it depends on has changed (--afresh walks it again)'
const ONCE =
  'Danger said, a person wanted, a change of mind and the like were made at every moment, and each reply was looked at. --whole walks all that may follow them, too: before you approve.'
const SAID_FIRST = 'What a first message says was walked too.'
const READ_MORE = 'Whole conversations: --verbose. As pages, with scripts to replay: --html DIR.'

function flowLines({ report, violations }: Checked): readonly string[] {
  if (report === undefined) return []
  const flows = [...Map.groupBy(report.flows, ({ flow }) => flow)]
  const lines = flows.map(([flow, reports]) => {
    const sum = (value: (one: (typeof reports)[number]) => number) =>
      reports.reduce((total, one) => total + value(one), 0)
    const rules = new Set(reports.flatMap(one => one.rules)).size
    const breaks = violations.filter(({ finding }) => finding.flow === flow).length
    const notWhole = reports.find(one => one.notWhole !== undefined)?.notWhole
    const settings = reports.length === 1 ? '' : `, ${reports.length} settings of its policies`
    const compared = sum(one => one.compared)
    const asBefore = reports.every(one => one.asBefore === true)
    const figures = [
      `${rules} rules${settings}`,
      `${countText(sum(one => one.states))} states`,
      `${millions(sum(one => one.transitions))} transitions`,
      ...(compared === 0 ? [] : [`${millions(compared)} compared`]),
      `${sum(one => one.seconds).toFixed(1)} s${asBefore ? ' then' : ''}`,
      `${Math.max(1, Math.round(Math.max(...reports.map(one => one.bytes)) / 1_000_000))} MB`,
    ]
    const verdict =
      breaks > 0
        ? `${breaks} BREAK${breaks === 1 ? 'S' : ''}`
        : reports.some(one => one.states === 0)
          ? 'NOT PROVED'
          : 'holds'
    const taps = tapLine(reports)
    const [first = '', ...others] = wrapped(`${flow} – ${verdict}: ${figures.join(', ')}`, 80)
    return [
      first,
      ...others.map(line => `    ${line}`),
      ...(asBefore ? [`    ${AS_BEFORE}`] : []),
      ...(taps === undefined ? [] : wrapped(taps, 76).map(line => `    ${line}`)),
      ...(notWhole === undefined ? [] : wrapped(notWhole, 76).map(line => `    ${line}`)),
    ]
  })
  const isOnce = report.flows.some(({ walked }) => walked === 'once')
  const ladder = report.ladder
  const ladderStates = ladder.reduce((total, one) => total + one.states, 0)
  const ladderBreaks = ladder.some(one => one.findings.length > 0)
  return [
    ...lines.flat(),
    ...(isOnce ? wrapped(ONCE, 80) : []),
    ...wrapped(SAID_FIRST, 80),
    ...(report.pending.length === 0
      ? []
      : [`pending: ${report.pending.length} rules, for flows that are not written yet ("awaits" in flows/rules)`]),
    ...(ladder.length === 0
      ? []
      : [
          `call-out ladder: ${ladder.length} ladders, ${countText(ladderStates)} states – ${ladderBreaks ? 'BREAKS' : 'holds'}`,
        ]),
  ]
}

function violationLines(
  { finding, others, rule, told }: Violation,
  number: number,
  { loaded }: Checked,
  isTold: boolean,
  isVerbose: boolean,
): readonly string[] {
  const on = Object.entries(finding.policies).flatMap(([id, value]) => (value === 'off' ? [] : [`${id} ${value}`]))
  const where = [finding.flow, ...on].filter(part => part !== '').join(', ')
  const also = others === 0 ? '' : ` (and under ${others} other settings)`
  const head = ['', ...wrapped(`${number}. ${finding.rule}${where === '' ? '' : ` – ${where}`}${also}`, 78)]
  const says = wrapped(finding.says, 76).map(line => `   ${line}`)
  if (!isTold) return [...head, ...says]
  const lines = (finding.lines ?? []).flatMap(line => wrapped(line, 74).map(each => `     ${each}`))
  if (told === undefined || loaded === undefined) return [...head, ...says, ...lines]
  const all = toldLines(told, loaded.line)
  const shown =
    isVerbose || all.length <= SHOWN_LINES ? all : [...all.slice(0, 1), '         …', ...all.slice(-SHOWN_LINES)]
  const why = rule === undefined ? [] : wrapped(`Why: ${rule.reason}`, 76).map(line => `   ${line}`)
  return [
    ...head,
    ...shown,
    '   ^ It breaks here.',
    ...says,
    ...why,
    ...(told.isShown ? [] : wrapped(NOT_SHOWN, 76).map(line => `   ${line}`)),
  ]
}

/** What is not as it was: for whoever looks on while a flow is edited. */
export function changeLines(before: Checked, now: Checked): readonly string[] {
  const keysOf = (checked: Checked) =>
    new Map([
      ...checked.problems.map(problem => [problemText(problem).replace(/:\d+:\d+/, ''), problemText(problem)] as const),
      ...checked.violations.map(({ finding }) => {
        const text = `${finding.rule} (${finding.flow}): ${finding.says}`
        return [text, text] as const
      }),
    ])
  const [was, is] = [keysOf(before), keysOf(now)]
  const gone = [...was].filter(([key]) => !is.has(key)).map(([, text]) => `mended: ${text}`)
  const come = [...is].filter(([key]) => !was.has(key)).map(([, text]) => `new: ${text}`)
  const left = is.size
  return [...gone, ...come, left === 0 ? 'Everything holds.' : `${left} left.`]
}

const countText = (count: number): string => count.toLocaleString('en')

const millions = (count: number): string =>
  count < 1_000_000 ? countText(count) : `${(count / 1_000_000).toFixed(1)} M`
