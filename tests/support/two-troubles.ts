import type { Line } from '../../src/case/line.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { type Catalogue, catalogueOf } from '../../src/flow/wording.ts'
import { aLine, flowsOf, shippedFiles } from './a-line.ts'

/** A blocked tube in few steps: stop the feed, danger, the kind of tube; then a clinician is waited for. */
const CLOGGED = {
  'clogged/flow.yaml': `concern: clogged
start: first
silence: { ask: shared/silence-ask, page: shared/silence-page }
steps:
  first:
    say: [bot-here, stop-feed, flush-gently, danger-ring]
    go: danger
  danger:
    ask: danger-signs
    route:
      - { if: { danger: [present, unknown] }, go: shared/emergency }
      - { go: device }
  device:
    ask: device
    go: rest
  rest:
    decide: speak
    page: person
    say: [waiting-for-call, worse-waiting]
    wait: true
`,
  'clogged/sources.yaml': `sources: {}
advice:
  flush-gently: { tags: [flush-water], practice: for tests }
`,
  'clogged/wording.en.yaml': `say/flush-gently: Flush the tube gently with warm water.
stop/flush-gently: "Stop: put no water through the tube."
`,
}

/** Sore skin in few steps: ends at home. */
const SKIN = {
  'skin/flow.yaml': `concern: skin
start: first
silence: { ask: shared/silence-ask, page: shared/silence-page }
steps:
  first:
    say: [bot-here, keep-dry, danger-ring]
    go: danger
  danger:
    ask: danger-signs
    route:
      - { if: { danger: [present, unknown] }, go: shared/emergency }
      - { go: unwell }
  unwell:
    ask: unwell-too
    go: home
  home:
    decide: at-home
    say: [worse-ring]
    end: true
`,
  'skin/sources.yaml': `sources: {}
advice:
  keep-dry: { tags: [skin-care], practice: for tests }
`,
  'skin/wording.en.yaml': `say/keep-dry: Keep the skin dry.
`,
}

/** The shared words, tube out and a person as shipped, with two small flows beside, whatever else is shipped. */
const files = new Map([
  ...[...shippedFiles].filter(([path]) => /^(?:shared|someone|tube-out)\//.test(path) && !path.includes('.es.yaml')),
  ...Object.entries({ ...CLOGGED, ...SKIN }),
])

export const troubles: FlowSet = flowsOf(files)

/** A line with four concerns, the most urgent first. */
export function troubleLine(settings: Readonly<Record<string, unknown>> = {}): Line {
  return { ...aLine(settings, { flows: troubles }), mostUrgentFirst: ['tube-out', 'clogged', 'skin', 'someone'] }
}

/** The same in English and in a made-up Spanish: each text with a mark before it. The skin has no words in it. */
export function twoLanguageLine(): Line {
  const wording = withSpanish(troubles.wording)
  const flows = new Map(
    [...troubles.flows].map(([concern, flow]) => [
      concern,
      concern === 'skin' ? flow : { ...flow, wording: withSpanish(flow.wording) },
    ]),
  )
  return { ...troubleLine(), flows: { ...troubles, wording, flows }, languages: ['en', 'es'] }
}

function withSpanish(wording: ReadonlyMap<string, Catalogue>): ReadonlyMap<string, Catalogue> {
  const english = wording.get('en')
  const marked = [...(english?.ids ?? [])].map(id => [id, `ES ${english?.source(id)}`])
  return new Map([...wording, ['es', catalogueOf('es', Object.fromEntries(marked))]])
}
