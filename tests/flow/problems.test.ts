import { describe, expect, it } from 'vitest'
import { loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import { SMALL, smallWith } from './small-flow.ts'

interface Fault {
  readonly fault: string
  readonly file: string
  readonly from: string
  readonly to: string
  readonly code: string
  readonly found: string
  readonly expected: string
  readonly nearest?: string
}

const FLOW = 'tube-out/flow.yaml'
const WORDS = 'tube-out/wording.en.yaml'

// biome-ignore format: a table is read across
const faults: readonly Fault[] = [
  // ---- What is not YAML that can be read one way only ----
  { fault: 'a bracket that is not closed', file: FLOW, from: 'say: [cover]\n    go: danger', to: 'say: [cover\n    ▶go: danger', code: 'YAML_SYNTAX', found: 'sufficiently indented', expected: 'one way only' },
  { fault: 'a tab as indentation', file: FLOW, from: '    say: [cover]', to: '▶\tsay: [cover]', code: 'YAML_SYNTAX', found: 'Tab', expected: 'one way only' },
  { fault: 'the same key twice', file: FLOW, from: '    ask: danger-signs', to: '    ask: danger-signs\n    ▶ask: in-opening', code: 'YAML_SYNTAX', found: 'unique', expected: 'one way only' },
  { fault: 'a directive', file: FLOW, from: 'concern: tube-out', to: '▶%YAML 1.1\n---\nconcern: tube-out', code: 'YAML_SYNTAX', found: '% directive', expected: 'no directive' },
  { fault: 'an alias', file: FLOW, from: '    cancel: [left]', to: '    cancel: &names [left]\n    say: ▶*names', code: 'YAML_SYNTAX', found: 'an alias "*names"', expected: 'the value itself' },
  { fault: 'a second document', file: FLOW, from: '  again:\n    cancel: [left]\n    wait: true\n', to: '  again:\n    cancel: [left]\n    wait: true\n▶---\nmore: yes\n', code: 'YAML_SYNTAX', found: 'a second document', expected: 'one document a file' },
  { fault: 'an empty file', file: WORDS, from: 'say/cover: Cover the opening.\n', to: '▶', code: 'YAML_SYNTAX', found: 'an empty file', expected: 'a YAML map' },
  // ---- What has another shape ----
  { fault: 'an unknown key', file: FLOW, from: '    say: [cover]', to: '    ▶st: [cover]', code: 'UNKNOWN_KEY', found: 'unknown key "st"', expected: 'one of say, start-clock, decide', nearest: 'set' },
  { fault: 'a disposition that there is not', file: FLOW, from: 'decide: set-out', to: 'decide: ▶setout', code: 'WRONG_VALUE', found: '"setout" at "steps.leave.decide"', expected: 'set-out' },
  { fault: 'an id that is not one', file: FLOW, from: 'say: [cover]', to: 'say: [▶Cover It]', code: 'WRONG_VALUE', found: '"Cover It"', expected: 'lower case with single hyphens' },
  { fault: 'a step that leads nowhere', file: FLOW, from: '  again:\n    cancel: [left]\n    wait: true', to: '  again:\n    ▶cancel: [left]', code: 'WRONG_VALUE', found: 'steps.again', expected: 'exactly one of "go", "route", "wait" and "end"' },
  { fault: 'an alarm with moment and length', file: FLOW, from: '- { name: left, after: left-check, go: again }', to: '- ▶{ name: left, after: left-check, at: leave-by, go: again }', code: 'WRONG_VALUE', found: 'steps.leave.alarms.0', expected: 'exactly one of "at" and "after"' },
  { fault: 'a file without its start', file: FLOW, from: 'concern: tube-out\nstart: hold', to: '▶concern: tube-out', code: 'MISSING', found: 'nothing at "start"', expected: 'string' },
  { fault: 'advice for an act without a source', file: 'tube-out/sources.yaml', from: '    tags: [cover-opening]\n    rests-on: [leaflet]', to: '    ▶tags: [cover-opening]', code: 'WRONG_VALUE', found: 'advice.cover', expected: 'cites "rests-on", or says "practice" or "own"' },
  // ---- Ids that there are not ----
  { fault: 'a concern that is not its folder', file: FLOW, from: 'concern: tube-out', to: 'concern: ▶tube-our', code: 'CONCERN_NAME', found: 'tube-our', expected: `the folder's name, "tube-out"` },
  { fault: 'a start that is no step', file: FLOW, from: 'start: hold', to: 'start: ▶hald', code: 'UNKNOWN_ID', found: 'unknown step "hald"', expected: 'an existing step', nearest: 'hold' },
  { fault: 'an unknown step in a route', file: FLOW, from: '- { go: opening }', to: '- { go: ▶openning }', code: 'UNKNOWN_ID', found: 'unknown step "openning"', expected: 'an existing step', nearest: 'opening' },
  { fault: 'an unknown shared step', file: FLOW, from: 'go: shared/emergency', to: 'go: ▶shared/emergancy', code: 'UNKNOWN_ID', found: 'unknown step "shared/emergancy"', expected: 'an existing step', nearest: 'shared/emergency' },
  { fault: 'an unknown step of an alarm', file: FLOW, from: 'at: leave-by, go: again', to: 'at: leave-by, go: ▶agian', code: 'UNKNOWN_ID', found: 'unknown step "agian"', expected: 'an existing step', nearest: 'again' },
  { fault: 'silence that leads to no step', file: FLOW, from: 'start: hold', to: 'start: hold\nsilence: { ask: shared/person, page: ▶shared/persson }', code: 'UNKNOWN_ID', found: 'unknown step "shared/persson"', expected: 'an existing step', nearest: 'shared/person' },
  { fault: 'an unknown fact asked', file: FLOW, from: 'ask: in-opening', to: 'ask: ▶in-openning', code: 'UNKNOWN_ID', found: 'unknown fact "in-openning"', expected: 'an existing fact', nearest: 'in-opening' },
  { fault: 'an unknown fact in a condition', file: FLOW, from: 'if: { danger: [present] }', to: 'if: { ▶dangre: [present] }', code: 'UNKNOWN_ID', found: 'unknown fact "dangre"', expected: 'an existing fact', nearest: 'danger' },
  { fault: 'an unknown value of a fact', file: FLOW, from: 'in-opening: [nothing], family-ph', to: 'in-opening: [▶nothin], family-ph', code: 'UNKNOWN_ID', found: 'unknown value of in-opening "nothin"', expected: 'an existing value of in-opening', nearest: 'nothing' },
  { fault: 'an unknown value of a derived fact', file: FLOW, from: 'danger: [present]', to: 'danger: [▶presant]', code: 'UNKNOWN_ID', found: 'unknown value of danger "presant"', expected: 'an existing value of danger', nearest: 'present' },
  { fault: 'an unknown value of a policy', file: FLOW, from: 'family-ph: [on]', to: 'family-ph: [▶onn]', code: 'UNKNOWN_ID', found: 'unknown value of family-ph "onn"', expected: 'an existing value of family-ph', nearest: 'on' },
  { fault: 'an unknown value set', file: 'shared/steps.yaml', from: 'danger-seen: yes', to: 'danger-seen: ▶yess', code: 'UNKNOWN_ID', found: 'unknown value of danger-seen "yess"', expected: 'an existing value of danger-seen', nearest: 'yes' },
  { fault: 'a length compared', file: FLOW, from: 'if: { danger: [present] }', to: 'if: { ▶travel: [present] }', code: 'NOT_COMPARABLE', found: '"travel" is a length', expected: 'a number or time is cut into bands first' },
  { fault: 'a moment compared', file: FLOW, from: 'if: { danger: [present] }', to: 'if: { ▶out-since: [present] }', code: 'NOT_COMPARABLE', found: '"out-since" is a moment', expected: 'a number or time is cut into bands first' },
  { fault: 'a question for what steps set', file: FLOW, from: 'ask: in-opening', to: 'ask: ▶attempt', code: 'NOT_ASKABLE', found: '"attempt" is set by steps', expected: 'a fact that a caregiver answers' },
  { fault: 'unknown advice', file: FLOW, from: 'say: [cover]', to: 'say: [▶covver]', code: 'UNKNOWN_ID', found: 'unknown advice "covver"', expected: 'an existing advice', nearest: 'cover' },
  { fault: "a flow's own advice said by a shared step", file: 'shared/steps.yaml', from: 'say: [ring-now]', to: 'say: [▶cover]', code: 'UNKNOWN_ID', found: 'unknown advice "cover"', expected: 'an existing advice' },
  { fault: 'an unknown tag', file: 'tube-out/sources.yaml', from: 'tags: [cover-opening]', to: 'tags: [▶cover-openning]', code: 'UNKNOWN_ID', found: 'unknown tag "cover-openning"', expected: 'a tag of shared/tags.yaml', nearest: 'cover-opening' },
  { fault: 'an unknown source', file: 'tube-out/sources.yaml', from: 'rests-on: [leaflet]', to: 'rests-on: [▶leaflett]', code: 'UNKNOWN_ID', found: 'unknown source "leaflett"', expected: 'a source of this file', nearest: 'leaflet' },
  { fault: 'an alarm cancelled that nothing sets', file: FLOW, from: 'cancel: [left]', to: 'cancel: [▶lift]', code: 'UNKNOWN_ID', found: 'unknown alarm "lift"', expected: 'an existing alarm', nearest: 'left' },
  { fault: 'an unknown setting', file: FLOW, from: 'after: left-check', to: 'after: ▶left-chek', code: 'UNKNOWN_ID', found: 'unknown setting "left-chek"', expected: 'an existing setting', nearest: 'left-check' },
  // ---- Routes and ways ----
  { fault: 'a shared step that hands back to nowhere', file: 'shared/steps.yaml', from: '    page: person\n    go: resume', to: '    page: person\n    go: back/well', code: 'BACK_MISSING', found: 'the shared step "person", used here, that hands back to "back/well"', expected: 'a line "well:"' },
  { fault: 'a route whose last row has a condition', file: FLOW, from: '      - { go: opening }\n', to: '', code: 'ROUTE_NOT_TOTAL', found: 'a condition on the last row', expected: 'a last row with no condition' },
  { fault: 'a row without condition before the last', file: FLOW, from: '- { if: { danger: [present] }, go: shared/emergency }', to: '- ▶{ go: shared/emergency }', code: 'ROUTE_SHADOWED', found: 'a row with no condition before the last', expected: 'rows after it that can be reached' },
  { fault: 'a row that an earlier one always takes', file: FLOW, from: '- { if: { in-opening: [nothing], family-ph: [on] }, go: leave }', to: '- { if: { in-opening: [nothing] }, go: leave }\n      - ▶{ if: { in-opening: [nothing], family-ph: [on] }, go: leave }', code: 'ROUTE_SHADOWED', found: 'a row that an earlier row always takes', expected: 'a row that can be reached' },
  { fault: 'a step that nothing leads to', file: FLOW, from: '  again:\n', to: '  ▶alone: { wait: true }\n  again:\n', code: 'STEP_UNREACHABLE', found: 'step "alone" that nothing leads to', expected: 'a step some route or alarm leads to' },
  { fault: 'a way round without a question', file: FLOW, from: '  again:\n    cancel: [left]\n    wait: true', to: '  ▶again:\n    cancel: [left]\n    go: round\n  round: { go: again }', code: 'LOOP', found: 'step "again" can come back to itself with no question between', expected: 'a question or a wait on every way round' },
  { fault: 'one alarm with two targets', file: FLOW, from: '- { name: late, at: leave-by, go: again }', to: '- ▶{ name: left, at: leave-by, go: danger }', code: 'ALARM_TWO_TARGETS', found: 'alarm "left" leads to "danger"', expected: '"again", where it leads elsewhere' },
  { fault: "an alarm with a name that the case's own alarms have", file: FLOW, from: '- { name: late, at: leave-by, go: again }', to: '- { name: ▶rung, at: leave-by, go: again }', code: 'ALARM_NAME_TAKEN', found: 'alarm "rung"', expected: 'another name' },
  { fault: 'an end before anything was decided', file: FLOW, from: '  hold:\n    say: [cover]\n    go: danger', to: '  ▶hold:\n    say: [cover]\n    end: true', code: 'END_UNDECIDED', found: 'step "hold" can end with nothing decided', expected: 'a "decide" on every way to it' },
  // ---- Words ----
  { fault: 'advice without its words', file: WORDS, from: 'say/cover: Cover the opening.', to: 'say/caver: Cover the opening.', code: 'WORDING_MISSING', found: 'no text "say/cover" in en', expected: 'a line "say/cover: …" in tube-out/wording.en.yaml', nearest: 'say/caver' },
  { fault: 'an option without its words', file: 'shared/wording.en.yaml', from: 'option/in-opening/nothing: Nothing\n', to: '', code: 'WORDING_MISSING', found: 'no text "option/in-opening/nothing" in en', expected: 'a line "option/in-opening/nothing: …"', nearest: 'option/in-opening/same-tube' },
  { fault: 'a page reason without its words', file: 'shared/wording.en.yaml', from: 'reason/person: A person is wanted.\n', to: '', code: 'WORDING_MISSING', found: 'no text "reason/person" in en', expected: 'a line "reason/person: …"' },
  { fault: 'a text that is no message format', file: WORDS, from: 'Cover the opening.', to: '▶"Cover {emergency the opening."', code: 'WORDING_BROKEN', found: '"say/cover": ICU MessageFormat cannot read it', expected: 'a sound ICU MessageFormat text' },
  { fault: 'an unknown variable', file: WORDS, from: 'Cover the opening.', to: '▶"Ring {emergancy}."', code: 'WORDING_BROKEN', found: '"say/cover": unknown variable {emergancy}', expected: 'known variables' },
  { fault: 'a plural without a form of its language', file: WORDS, from: 'Cover the opening.', to: '▶"Cover it {pagesSent, plural, =2 {twice} other {# times}}."', code: 'WORDING_BROKEN', found: 'plural {pagesSent} lacks "one"', expected: 'a sound ICU MessageFormat text' },
  { fault: 'a hazardous act in words without its tag', file: WORDS, from: 'Cover the opening.', to: '▶Put the new tube in, then cover the opening.', code: 'TAG_MISSING', found: '"cover" tells someone to do what "puts-into-site" means', expected: 'the tag "puts-into-site" on the advice, or other words' },
  { fault: 'a promise nobody can keep', file: WORDS, from: 'Cover the opening.', to: '▶Cover the opening. It will be fine.', code: 'WORDS_BARRED', found: '"say/cover" (promise): "will be fine"', expected: 'a promise with a name and a time' },
  { fault: 'a sentence that is too hard', file: WORDS, from: 'Cover the opening.', to: '▶Keep the opening covered and prioritise its continuous occlusion with a permeable covering.', code: 'READING_HARD', found: '"say/cover" (reading-grade): flesch-kincaid', expected: 'shorter words and shorter sentences' },
  { fault: 'a number that counts nothing', file: WORDS, from: 'Cover the opening.', to: '▶Cover the opening for 20.', code: 'UNIT_MISSING', found: '"say/cover" (number-without-unit): "20"', expected: 'what the number counts' },
  { fault: 'a question with not in it', file: 'shared/wording.en.yaml', from: 'ask/in-opening: What is in the opening?', to: 'ask/in-opening: ▶Is there nothing in it?', code: 'QUESTION_NEGATED', found: '"ask/in-opening" (negated-question): "nothing"', expected: 'a question that "yes" answers one way only' },
  { fault: 'a colour alone', file: 'shared/wording.en.yaml', from: 'option/in-opening/nothing: Nothing', to: 'option/in-opening/nothing: ▶It is red', code: 'COLOUR_ALONE', found: '"red"', expected: 'what has the colour' },
  { fault: 'no word list for a language', file: 'shared/lint.en.yaml', from: SMALL['shared/lint.en.yaml'] ?? '', to: '▶', code: 'YAML_SYNTAX', found: 'an empty file', expected: 'a YAML map' },
  { fault: 'a finding that there is not', file: 'shared/lint.en.yaml', from: '  too-late:\n', to: '  ▶too-lat:\n', code: 'UNKNOWN_ID', found: 'unknown finding "too-lat"', expected: 'an existing finding', nearest: 'too-late' },
  { fault: 'a sample for no variable', file: 'shared/lint.en.yaml', from: '  leaveBy: 2:45 am', to: '  ▶leaveBye: 2:45 am', code: 'UNKNOWN_ID', found: 'unknown variable "leaveBye"', expected: 'an existing variable', nearest: 'leaveBy' },
  { fault: 'a formula of another language', file: 'shared/lint.en.yaml', from: '  flesch-kincaid: { most: 6 }', to: '  ▶crawford: { most: 6 }', code: 'UNKNOWN_ID', found: 'unknown formula "crawford"', expected: 'a formula for en' },
  { fault: 'nothing that closes replies with a number', file: 'shared/sources.yaml', from: 'advice:\n  ring-now:\n    tags: [call-emergency]\n    closes-replies: true', to: 'advice:\n  ▶ring-now:\n    tags: [call-emergency]', code: 'CAUTION_MISSING', found: '0 pieces of advice with "closes-replies"', expected: 'one in the shared sources' },
  { fault: 'a closing line without its number', file: 'shared/wording.en.yaml', from: 'say/ring-now: "Ring {emergency} now."', to: 'say/ring-now: ▶"Ring now."', code: 'CAUTION_MISSING', found: '"say/ring-now" closes replies and names no number in en', expected: 'one of {emergency}' },
  { fault: 'an ambulance without a number', file: 'shared/steps.yaml', from: '    decide: ambulance\n    set: { danger-seen: yes }\n    say: [ring-now]', to: '    decide: ▶ambulance\n    set: { danger-seen: yes }', code: 'CAUTION_MISSING', found: 'step "emergency" decides on an ambulance and says no number to ring in en', expected: 'advice under "say"' },
  { fault: 'a hazard that no words give away', file: 'shared/tags.yaml', from: '  puts-into-site: { means: put a tube in, hazardous: true, words: { en: [put tube in, insert tube] } }', to: '  ▶puts-into-site: { means: put a tube in, hazardous: true }', code: 'TAG_WORDLESS', found: 'no words in en give the hazardous act "puts-into-site" away', expected: 'a list under "words" for en' },
  { fault: 'a hazardous act after a half sentence that forbids something else', file: WORDS, from: 'Cover the opening.', to: '▶Do not wait, insert a tube.', code: 'TAG_MISSING', found: '"cover" tells someone to do what "puts-into-site" means', expected: 'the tag "puts-into-site"' },
]

/** Faults that are a missing line: reported where the line is needed. */
const placeOfMissing: Readonly<Record<string, readonly [file: string, marked: string, of: string]>> = {
  'a route whose last row has a condition': [FLOW, '- ▶{ if: { danger: [present] }', '- { if: { danger: [present] }'],
  'a shared step that hands back to nowhere': [FLOW, 'concern: ▶tube-out', 'concern: tube-out'],
  'advice without its words': [FLOW, 'say: [▶cover]', 'say: [cover]'],
  'an option without its words': [FLOW, 'ask: ▶in-opening', 'ask: in-opening'],
  'a page reason without its words': ['shared/steps.yaml', 'page: ▶person', 'page: person'],
}

function made({ fault, file, from, to }: Fault) {
  const missing = placeOfMissing[fault]
  if (missing === undefined) return { ...smallWith(file, from, to), file }
  const [placeFile, marked, of] = missing
  const { line, column } = smallWith(placeFile, of, marked)
  const text = SMALL[file] ?? ''
  if (text.split(from).length !== 2) throw new Error(`"${from}" is to stand once in ${file}`)
  return { files: new Map(Object.entries({ ...SMALL, [file]: text.replace(from, to) })), file: placeFile, line, column }
}

describe('a fault in a flows folder', () => {
  it('is none in a sound folder', () => {
    expect(loadFlows(new Map(Object.entries(SMALL))).problems).toEqual([])
  })

  it.each(faults)('$fault is reported at its line and column, with what was expected', one => {
    const { files, file, line, column } = made(one)
    const { set, problems } = loadFlows(files)
    expect(set).toBeUndefined()
    const shown = problems.map(problemText).join('\n')
    const reported = problems.find(problem => problem.code === one.code && problem.found.includes(one.found))
    expect(reported, shown).toBeDefined()
    expect(`${reported?.file}:${reported?.line}:${reported?.column}`, shown).toBe(`${file}:${line}:${column}`)
    expect(reported?.expected).toContain(one.expected)
    expect(reported?.severity).toBe('problem')
    if (one.nearest !== undefined) expect(reported?.nearest).toBe(one.nearest)
  })
})

describe('a shared step that hands back', () => {
  it('leads to the step that the flow names for it', () => {
    const files = new Map(Object.entries(SMALL))
    const edit = (file: string, from: string, to: string) =>
      files.set(
        file,
        (files.get(file) ?? '').replace(from, () => to),
      )
    edit('shared/steps.yaml', '    page: person\n    go: resume', '    page: person\n    go: back/well')
    edit('tube-out/flow.yaml', 'start: hold', 'start: hold\nback: { well: danger }')
    const { set, problems } = loadFlows(files)
    expect(problems).toEqual([])
    expect(set?.flows.get('tube-out')?.steps.get('shared/person')?.rows).toEqual([{ if: {}, go: 'danger' }])
    edit('tube-out/flow.yaml', 'back: { well: danger }', 'back: { well: dangre }')
    expect(loadFlows(files).problems.map(problemText).join()).toContain('unknown step "dangre"')
  })
})

describe('one report', () => {
  it('names every fault of every file, each once, though shared steps serve several flows', () => {
    const edit = (file: string, from: string, to: string) => (SMALL[file] ?? '').replace(from, () => to)
    const files = new Map(Object.entries(SMALL))
    for (const name of ['tube-out', 'leaking', 'clogged', 'skin']) {
      files.set(`${name}/flow.yaml`, edit('tube-out/flow.yaml', 'concern: tube-out', `concern: ${name}`))
      files.set(`${name}/sources.yaml`, SMALL['tube-out/sources.yaml'] ?? '')
      files.set(`${name}/wording.en.yaml`, SMALL['tube-out/wording.en.yaml'] ?? '')
    }
    files.set('leaking/flow.yaml', 'steps: {a: 1, a: 2}\nb: [\n')
    files.set(
      'clogged/flow.yaml',
      (files.get('clogged/flow.yaml') ?? '').replace('say: [cover]', 'tell: [cover]\n    say: [covver]'),
    )
    files.set(
      'skin/flow.yaml',
      (files.get('skin/flow.yaml') ?? '').replace('go: opening', 'go: openin').replace('[nothing]', '[nothng]'),
    )
    files.set('skin/wording.en.yaml', 'say/cover: "Insert a tube {now"\n')
    files.set('shared/steps.yaml', edit('shared/steps.yaml', 'say: [ring-now]', 'say: [ring-nou]'))
    const { set, problems } = loadFlows(files)
    expect(set).toBeUndefined()
    const lines = problems.map(problemText)
    expect(new Set(lines).size).toBe(lines.length)
    for (const start of [
      'leaking/flow.yaml:1:15 YAML_SYNTAX',
      'leaking/flow.yaml:3:1 YAML_SYNTAX',
      'clogged/flow.yaml:5:5 UNKNOWN_KEY',
      'clogged/flow.yaml:6:11 UNKNOWN_ID: unknown advice "covver"',
      'skin/flow.yaml:11:15 UNKNOWN_ID: unknown step "openin"',
      'skin/flow.yaml:15:30 UNKNOWN_ID: unknown value of in-opening "nothng"',
      'skin/wording.en.yaml:1:12 WORDING_BROKEN',
      'shared/steps.yaml:5:11 UNKNOWN_ID: unknown advice "ring-nou"',
    ]) {
      expect(
        lines.filter(line => line.startsWith(start)),
        `${start} in\n${lines.join('\n')}`,
      ).toHaveLength(1)
    }
  })

  it('names each missing file', () => {
    expect(loadFlows(new Map()).problems.map(({ code, file }) => `${code} ${file}`)).toEqual([
      'FILE_MISSING shared/facts.yaml',
      'FILE_MISSING shared/tags.yaml',
      'FILE_MISSING shared/steps.yaml',
      'FILE_MISSING shared/sources.yaml',
      'FILE_MISSING shared/lint.yaml',
    ])
  })
})
