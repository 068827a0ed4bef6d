import type { CaseState } from '../case/state.ts'
import { cloudEventOf, sourceOf } from '../replay/cloud-events.ts'
import { caseResources, deviceOf } from '../replay/fhir.ts'
import { questionnaireOf } from '../replay/fhir-questionnaire.ts'
import type { Reading, RecordedCase } from '../replay/reading.ts'
import { replayed } from '../replay/run.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, CalledWrongly, type Command, complain, countText, print } from './command.ts'
import { type FlowShelf, flowShelf } from './flow-shelf.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { folderSaid, toBeWritten } from './places-said.ts'
import { filesIn, flowsFor, linesOf, readLine, withoutFlow } from './replay.ts'
import { AROUND } from './replay-around.ts'
import { SOFTWARE } from './software.ts'
import { faultText, told, wholeFile } from './transcript-file.ts'

export const exportCommand: Command = {
  name: 'export',
  summary: 'transcripts in open standards, for other systems: "export fhir", "export cloudevents"',
  usage: [
    'smallhours export fhir FILES… --out FILE.ndjson         HL7 FHIR R4, one resource a line',
    'smallhours export cloudevents FILES… --out FILE.jsonl   CloudEvents 1.0, one event a line; --source URI',
    'each with [--clinic FOLDER] [--data FOLDER] [--json]. What is de-identified in the transcript is so in the export.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string' },
      out: { type: 'string' },
      source: { type: 'string' },
      json: { type: 'boolean', default: false },
    })
    const [kind, ...named] = positionals
    if (kind !== 'fhir' && kind !== 'cloudevents') throw new CalledWrongly('"fhir" or "cloudevents" was expected')
    const files = filesIn(named)
    const { out, source } = values
    if (out === undefined) throw new CalledWrongly('--out FILE was expected')
    toBeWritten(out)
    if (values.data !== undefined) folderSaid('--data', values.data)
    if (source !== undefined && (kind !== 'cloudevents' || !/^[a-z][a-z0-9+.-]*:[\x21-\x7e]+$/i.test(source)))
      throw new CalledWrongly(`--source ${source}: a URI for CloudEvents was expected, such as urn:smallhours:demo`)
    const loaded = kind === 'fhir' ? readLine(values.clinic, undefined) : undefined
    if (kind === 'fhir' && loaded === undefined) return 1
    const shelf = flowShelf({ loaded, ...(values.data === undefined ? {} : { data: values.data }) })
    const file = wholeFile(out)
    const put = (value: object) => {
      file.write(`${JSON.stringify(value)}\n`)
      counted.lines += 1
    }
    const counted = { cases: 0, lines: 0, faults: 0, withoutFlow: 0 }
    const written = new Set<string>()
    try {
      for await (const { file: from, reading, faults, whole } of told(files, systemClock().now())) {
        for (const fault of faults) complain(faultText(from, fault))
        counted.faults += faults.length
        if (whole === undefined || reading.head === undefined) continue
        if (kind === 'cloudevents') {
          for (const step of whole.steps) put(cloudEventOf(step, source ?? sourceOf(reading.head)))
          counted.cases += 1
        } else if (fhirCase(whole, reading, shelf, written, put)) counted.cases += 1
        else {
          counted.withoutFlow += 1
          complain(`${from}: ${whole.head.case}: ${withoutFlow(whole)}`)
        }
      }
      if (counted.cases === 0) {
        file.discard()
        complain(`export: no case could be read, so ${out} was not written`)
        return 1
      }
      file.finish()
    } catch (error) {
      file.discard()
      throw error
    }
    if (values.json) print(JSON.stringify({ file: out, ...counted }))
    else print(`${out}: ${counted.lines} lines of ${countText(counted.cases, 'case')}.`)
    return counted.faults + counted.withoutFlow === 0 ? 0 : 1
  },
}

/** False where the flow of the case is not here. */
function fhirCase(
  whole: RecordedCase,
  reading: Reading,
  shelf: FlowShelf,
  written: Set<string>,
  put: (value: object) => void,
): boolean {
  const flows = flowsFor(whole, reading, shelf, complain)
  if (flows === undefined) return false
  const lineAt = linesOf(reading, flows)
  const line = lineAt(whole.steps[0]?.edition ?? '')
  const once = (key: string, resource: () => object) => {
    if (!written.has(key)) put(resource())
    written.add(key)
  }
  once('device', () => deviceOf(SOFTWARE))
  const { concern, flow } = whole.head
  once(`${concern} ${flow}`, () => questionnaireOf(line, concern, flow))
  const states: (CaseState | undefined)[] = []
  replayed(whole, lineAt, AROUND, (_step, _effects, state) => void states.push(state))
  for (const resource of caseResources({ recorded: whole, line, states, chain: whole.head.chain })) put(resource)
  return true
}
