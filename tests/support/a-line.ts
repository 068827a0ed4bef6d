import type { Line } from '../../src/case/line.ts'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { ownReadings } from '../../src/cli/kept-readings.ts'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { loadClinic } from '../../src/config/clinic-file.ts'
import { defaultSettings, settingsWith } from '../../src/config/settings.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { type FlowFiles, type LoadedFlows, loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import type { Clinic } from '../../src/oncall/clinic.ts'
import { type Instant, instant } from '../../src/time/instant.ts'

/** Sunday 1 March 2026, 02:10 in New York: the demonstration clinic is shut, Amara Osei is on call. */
export const NIGHT: Instant = instant(Date.parse('2026-03-01T07:10:00Z'))

/** Everything under flows/ as shipped. */
export const shippedFiles: FlowFiles = readFlowFiles()

/** The loaded set; throws with the whole report where anything is wrong. */
export function flowsOf(files: FlowFiles): FlowSet {
  return setOf(loadFlows(files))
}

function setOf({ set, problems }: LoadedFlows): FlowSet {
  if (set === undefined) throw new Error(problems.map(problemText).join('\n'))
  return set
}

/** As the bot reads them at its start: fifty files of tests need not each read and look through them anew. */
const LIMITS = { grade: defaultSettings['reading-grade'], languages: ['en', 'es'] }
const kept = ownReadings()
export const shippedFlows: FlowSet = setOf(
  loadFlows(shippedFiles, kept.read, LIMITS, look => kept.findings([...shippedFiles, LIMITS], look)),
)
kept.keep()

const demo = loadClinic(DEMO_CLINIC, NIGHT)

/** The shipped demonstration clinic. */
export function demoClinic(): Clinic {
  if (demo.clinic === undefined) throw new Error(demo.problems.map(problemText).join('\n'))
  return demo.clinic
}

/** The shipped line, with some clinic settings changed, or another clinic or other flows. */
export function aLine(
  settings: Readonly<Record<string, unknown>> = {},
  other: { clinic?: Clinic; flows?: FlowSet } = {},
): Line {
  const { settings: changed, faults } = settingsWith(demo.settings, settings)
  if (faults.length > 0) throw new Error(faults.map(fault => `${fault.found}: ${fault.expected}`).join('\n'))
  return { flows: other.flows ?? shippedFlows, clinic: other.clinic ?? demoClinic(), settings: changed, language: 'en' }
}
