import { type FSWatcher, readdirSync, watch, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { toldLines } from '../modelcheck/telling/text.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { againstLines } from './check-against.ts'
import { figuresOf } from './check-figures.ts'
import { writeCheckPages } from './check-pages.ts'
import { type Checked, type CheckRequest, runCheck } from './check-run.ts'
import { changeLines, checkLines } from './check-text.ts'
import { checkTogether } from './check-together.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { SHIPPED_FLOWS } from './flow-files.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { reportProblems, reportSilenced } from './problems.ts'

export const checkCommand: Command = {
  name: 'check',
  summary: 'reads a flows folder, names every fault, and walks every conversation against the safety rules',
  usage:
    'smallhours check [FLOWS] [--clinic FOLDER] [--flow ID]… [--rule ID]… [--policies clinic|shipped|few|every] [--whole] [--compare] [--afresh] [--verbose] [--html FOLDER] [--against FOLDER] [--figures FILE] [--watch] [--json]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flow: { type: 'string', multiple: true },
      rule: { type: 'string', multiple: true },
      policies: { type: 'string', default: 'clinic' },
      verbose: { type: 'boolean', default: false },
      whole: { type: 'boolean', default: false },
      compare: { type: 'boolean', default: false },
      afresh: { type: 'boolean', default: false },
      html: { type: 'string' },
      figures: { type: 'string' },
      against: { type: 'string' },
      watch: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const { policies } = values
    if (policies !== 'clinic' && policies !== 'shipped' && policies !== 'few' && policies !== 'every')
      throw new CalledWrongly(`--policies ${policies}: clinic, shipped, few or every was expected`)
    const clock = systemClock()
    const request: CheckRequest = {
      flowsDir: positionals[0] ?? SHIPPED_FLOWS,
      clinicDir: values.clinic,
      at: clock.now(),
      now: () => clock.monotonicMs(),
      policies,
      isWhole: values.whole,
      compares: values.compare,
      isAfresh: values.afresh,
      ...(values.flow === undefined ? {} : { flows: values.flow }),
      ...(values.rule === undefined ? {} : { rules: values.rule }),
      ...(process.stderr.isTTY ? { onProgress: showProgress } : {}),
    }
    const checked = await checkTogether(request)
    clearProgress()
    const code = tellAll(checked, values)
    if (values.figures !== undefined && checked.report !== undefined)
      writeFileSync(values.figures, `${JSON.stringify(figuresOf(checked, checked.files), null, 1)}\n`)
    if (values.against !== undefined && !values.json) {
      const { flowsDir, clinicDir, at } = request
      for (const line of againstLines({ flowsDir, clinicDir, against: values.against, at })) print(line)
    }
    if (!values.watch) return code
    await watching(request, checked)
    return 0
  },
}

function tellAll(checked: Checked, values: { json: boolean; verbose: boolean; html?: string | undefined }): number {
  const isBroken = checked.report === undefined
  if (values.json) {
    if (isBroken) reportProblems(checked.problems)
    print(JSON.stringify(jsonOf(checked)))
  } else {
    reportProblems(checked.problems)
    for (const line of checkLines(checked, values.verbose)) print(line)
    reportSilenced(checked.silenced)
  }
  if (values.html !== undefined && !isBroken) complain(`Pages: ${writeCheckPages(values.html, checked)}`)
  return isBroken || checked.violations.length > 0 ? 1 : 0
}

/** For machines. Where files cannot be read, nothing was walked and the problems stand on the error stream. */
function jsonOf({ report, rules, violations, loaded }: Checked) {
  const flows = report?.flows ?? []
  const sum = (value: (one: (typeof flows)[number]) => number) => flows.reduce((total, one) => total + value(one), 0)
  return {
    totals: {
      flows: new Set(flows.map(({ flow }) => flow)).size,
      rules: rules?.rules.length ?? 0,
      states: sum(one => one.states),
      transitions: sum(one => one.transitions),
      compared: sum(one => one.compared),
      seconds: report?.seconds ?? 0,
      violations: violations.length,
    },
    flows: flows.map(({ findings, witnesses, ...flow }) => ({
      ...flow,
      findings: findings.map(({ rule, kind, says }) => ({ rule, kind, says })),
      witnesses: witnesses.map(({ rule, way }) => ({ rule, moves: way.length })),
    })),
    violations: violations.map(({ finding, told }) => ({
      rule: finding.rule,
      flow: finding.flow,
      conversation:
        told === undefined || loaded === undefined ? (finding.lines ?? []) : toldLines(told, loaded.line, true),
    })),
  }
}

// ---- Progress ----

const BAR = 24

function showProgress({
  flow,
  done,
  of,
  states,
  looked,
}: Parameters<NonNullable<CheckRequest['onProgress']>>[0]): void {
  const part = of === 0 ? 0 : (done + (states === 0 ? 0 : looked / states)) / of
  const full = Math.round(part * BAR)
  const bar = `${'#'.repeat(full)}${'.'.repeat(BAR - full)}`
  process.stderr.write(`\r[${bar}] ${flow} ${done + 1} of ${of}, ${states.toLocaleString('en')} states   `)
}

function clearProgress(): void {
  if (process.stderr.isTTY) process.stderr.write(`\r${' '.repeat(78)}\r`)
}

// ---- Watching ----

/** A saved file is often written in several steps. Milliseconds. */
const SETTLES_AFTER = 300

/** Checks again whenever a file of the flows changes, and prints only what is not as it was. Never ends by itself. */
function watching(request: CheckRequest, first: Checked): Promise<never> {
  const clock = systemClock()
  const watched = new Map<string, FSWatcher>()
  let before = first
  let cancel: (() => void) | undefined
  return new Promise((_, reject) => {
    const again = () => {
      watchFolders()
      const now = checkedAgain({ ...request, at: clock.now() })
      if (now === undefined) return
      clearProgress()
      print('')
      for (const line of changeLines(before, now)) print(line)
      before = now
    }
    // Each folder by itself: a file that is written in place is seen so on every system.
    const watchFolders = () => {
      const inner = readdirSync(request.flowsDir, { withFileTypes: true }).filter(entry => entry.isDirectory())
      for (const path of [request.flowsDir, ...inner.map(({ name }) => join(request.flowsDir, name))]) {
        if (watched.has(path)) continue
        const watcher = watch(path, () => {
          cancel?.()
          cancel = clock.wake(clock.monotonicMs() + SETTLES_AFTER, again)
        })
        watched.set(path, watcher)
        watcher.on('error', () => watched.delete(path))
      }
    }
    try {
      watchFolders()
      complain(`Watching ${request.flowsDir}. Ctrl-C ends it.`)
    } catch (error) {
      reject(error)
    }
  })
}

/** A file may be gone for the moment in which an editor puts another in its place. */
function checkedAgain(request: CheckRequest): Checked | undefined {
  try {
    return runCheck(request)
  } catch (error) {
    complain(error instanceof Error ? error.message : String(error))
    return undefined
  }
}
