/** What changed flows, settings or rota would have done, as a page: by cause, lowered first, conversations side by side. No script. */
import { type Line, staffLine } from '../case/line.ts'
import { clockOf } from '../case/values.ts'
import type { Group, Totals } from '../replay/groups.ts'
import type { OtherRun } from '../replay/other-run.ts'
import type { Outcome } from '../replay/outcome.ts'
import type { Differing, SideRow, SideStep } from '../replay/what-if.ts'
import { instant } from '../time/instant.ts'
import { countText } from './command.ts'
import { decidedLines, happenedLine } from './conversation-text.ts'
import type { LinesOfCase } from './what-if-lines.ts'

/** A case that is shown, with the lines it went on. */
export interface Shown extends Differing {
  readonly lines: LinesOfCase
}

export interface Example {
  readonly case: string
  readonly direction: string
  readonly was: Outcome
  readonly may: readonly OtherRun[]
  readonly isPartial: boolean
  readonly rows: readonly SideRow[]
  /** The lines each column is worded with. */
  readonly wasLine: Line
  readonly nowLine: Line
}

export interface WhatIfReport {
  readonly what: string
  readonly totals: Totals
  readonly groups: readonly Group<Shown>[]
  readonly others: number
  readonly cannotAnswer: readonly string[]
}

export function* whatIfPage(
  report: WhatIfReport,
  examplesOf: (group: Group<Shown>) => readonly Example[],
): Generator<string> {
  const { totals, groups } = report
  yield [
    '<!doctype html>',
    '<html lang="en">',
    '<head>',
    '<meta charset="utf-8">',
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    '<title>What if</title>',
    STYLE,
    '</head>',
    '<body>',
    '<main>',
    '<h1>What if</h1>',
    `<p>${escaped(report.what)}</p>`,
    `<p>${totals.cases} recorded cases. <b>${totals.differing}</b> would have gone another way: <b>${totals.lowered}</b> less carefully, ${totals.raised} more carefully, ${totals.changed} otherwise. ${totals.same} the same.</p>`,
    ...notComparedLines(totals).map(line => `<p>${escaped(line)}</p>`),
    '<p>The families and clinicians do here what they did then. Nobody was asked anew. This supports and never replaces the judgement of the clinic’s own clinicians, local protocol and emergency services.</p>',
    '<h2>What this cannot tell</h2>',
    '<ul>',
    ...report.cannotAnswer.map(line => `<li>${escaped(line)}</li>`),
    '</ul>',
    '<h2>By cause, less careful first</h2>',
    '<div class="wide" tabindex="0" role="region" aria-label="By cause"><table><thead><tr><th scope="col">Trouble</th><th scope="col">Where it parts</th><th scope="col">Cases</th><th scope="col">Less careful</th><th scope="col">More careful</th><th scope="col">Otherwise</th></tr></thead><tbody>',
    ...groups.map(
      (group, index) =>
        `<tr><th scope="row">${escaped(troubleOf(group))}</th><td><a href="#g${index + 1}">${escaped(group.cause)}</a></td><td>${group.cases}</td><td>${group.lowered}</td><td>${group.raised}</td><td>${group.changed}</td></tr>`,
    ),
    '</tbody></table></div>',
    report.others > 0 ? `<p>${report.others} cases of further causes are counted above and not listed.</p>` : '',
  ].join('\n')
  for (const [index, group] of groups.entries()) {
    yield `<section aria-labelledby="g${index + 1}"><h2 id="g${index + 1}">${escaped(`${troubleOf(group)}: ${group.cause}`)}</h2>`
    yield `<p>${countText(group.cases, 'case')}: ${group.lowered} less careful, ${group.raised} more careful, ${group.changed} otherwise${group.ranged > 0 ? `; ${group.ranged} with more than one possible end` : ''}.</p>`
    for (const example of examplesOf(group)) yield examplePart(example)
    yield '</section>'
  }
  yield '</main></body></html>\n'
}

export function notComparedLines({ notComparable, partial }: Totals): readonly string[] {
  const lines: readonly (readonly [number, string])[] = [
    [
      notComparable['handed-to-people'],
      'were handed to people on the way: what the line would have done then is not worked out',
    ],
    [notComparable['not-as-recorded'], 'are not what their own flow decides: run "smallhours replay" on them first'],
    [
      notComparable['no-such-concern'],
      'are about something that no flow would be for: they would be handed to people at once',
    ],
    [partial, 'have more possible ends than were followed: their range is wider than shown'],
  ]
  return lines.flatMap(([count, text]) => (count > 0 ? [`${count} cases ${text}.`] : []))
}

/** A trouble as the clinic's own people call it; its id where no example has the words. */
function troubleOf({ concern, examples: [first] }: Group<Shown>): string {
  const line = first?.lines.was(first.recorded.steps[0]?.edition ?? '')
  const wording = line?.flows.wording.get(staffLine(line).language)
  return wording?.has(`concern/${concern}`) === true ? wording.text(`concern/${concern}`) : concern
}

function examplePart(example: Example): string {
  const { was, may, rows } = example
  const shown = rows.map(row => rowPart(row, example))
  const parts = shown.findIndex(({ isSame }) => !isSame)
  // The step before the first that differs stays in sight: it is what the family had just been told.
  const before = Math.max(0, parts - 1)
  return [
    `<h3>Case ${escaped(example.case)}: ${DIRECTION[example.direction] ?? example.direction}</h3>`,
    '<ul>',
    `<li>Then: ${escaped(outcomeText(was))}</li>`,
    ...rangeTexts(may).map(text => `<li>${escaped(text)}</li>`),
    example.isPartial ? '<li>There are more ways than were followed.</li>' : '',
    '</ul>',
    ...(before === 0
      ? []
      : [
          `<details><summary>${countText(before, 'step')} before that, the same</summary>`,
          conversation(example, shown.slice(0, before), 'before they part'),
          '</details>',
        ]),
    conversation(example, shown.slice(before), 'side by side'),
  ].join('\n')
}

const conversation = (example: Example, rows: readonly { readonly markup: string }[], name: string): string =>
  [
    `<div class="wide said" tabindex="0" role="region" aria-label="Case ${escaped(example.case)} ${name}"><table><thead><tr><th scope="col">Time</th><th scope="col">What happened</th><th scope="col">Then</th><th scope="col">With the change</th></tr></thead><tbody>`,
    ...rows.map(({ markup }) => markup),
    '</tbody></table></div>',
  ].join('\n')

const DIRECTION: Readonly<Record<string, string>> = {
  lowered: 'less careful',
  raised: 'more careful',
  changed: 'otherwise',
}

function rowPart({ at, was, now }: SideRow, { wasLine, nowLine }: Example) {
  const shown = was ?? now
  const happened =
    shown?.state === undefined
      ? (shown?.event.kind ?? '')
      : happenedLine(wasLine, shown.state, shown.event, instant(at))
  const left = decided(was, wasLine, at)
  const right = decided(now, nowLine, at)
  const isSame = left === right
  const clock = escaped(clockOf(wasLine, instant(at)))
  const markup = `<tr${isSame ? '' : ' class="parts"'}><th scope="row">${clock}</th><td>${isSame ? '' : '<b>Not the same.</b> '}${escaped(happened)}</td><td>${left}</td><td>${right}</td></tr>`
  return { isSame, markup }
}

const decided = (step: SideStep | undefined, line: Line, at: number): string =>
  step === undefined
    ? '<i>nothing happens</i>'
    : decidedLines(line, step.state, step.effects, instant(at))
        .map(text => `<p>${escaped(text)}</p>`)
        .join('')

export function outcomeText({ disposition, worst, pages, advice }: Outcome): string {
  const first = pages[0]
  const paged =
    first === undefined
      ? 'nobody paged'
      : `${countText(pages.length, 'page')}, the first to ${first.to} (${first.urgency})`
  const stood = worst === disposition ? '' : `, at worst ${worst ?? 'nothing'}`
  return `${disposition ?? 'nothing decided'}${stood}; ${paged}; ${countText(advice.length, 'piece')} of advice`
}

/** Each end that is possible, once, with what was answered to come there. */
export function rangeTexts(may: readonly OtherRun[]): readonly string[] {
  const ends = new Map<string, OtherRun[]>()
  for (const run of may) {
    const text = run.broken === undefined ? outcomeText(run.outcome) : `the step breaks: ${run.broken}`
    ends.set(text, [...(ends.get(text) ?? []), run])
  }
  return [...ends].map(([text, runs]) => {
    const [explored] = runs.map(run => run.explored)
    if (may.length === 1 || explored === undefined) return `With the change: ${text}`
    const answers = explored.map(
      ({ fact, answer }) =>
        `${fact} ${answer.kind === 'choice' ? answer.value : answer.kind === 'many' ? answer.values.join(' and ') : answer.kind}`,
    )
    return `With the change, in ${runs.length} of ${may.length} ways (such as ${answers.join(', ')}): ${text}`
  })
}

const escaped = (text: string): string =>
  text.replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;')

const STYLE = `<style>
:root { color-scheme: dark light; }
body { font: 1rem/1.5 system-ui, sans-serif; background: #14171c; color: #e8e6e1; margin: 0 auto; max-width: 90rem; padding: 1rem; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0; }
th, td { border: 1px solid #59616c; padding: 0.4rem 0.6rem; text-align: left; vertical-align: top; }
h2, h3, li { overflow-wrap: anywhere; }
.said td { min-width: 11rem; }
summary { padding: 0.4rem 0; }
td p { margin: 0 0 0.4rem; }
tr.parts td { background: #33270f; }
a { color: #9cc7ff; }
.wide { overflow-x: auto; }
@media (prefers-color-scheme: light) { body { background: #fcfaf5; color: #17191c; } tr.parts td { background: #fff2cc; } a { color: #0b4a8f; } }
@media print { body { background: white; color: black; } tr.parts td { background: #fff2cc; } a { color: inherit; } }
</style>`
