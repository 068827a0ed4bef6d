import { expect } from 'vitest'
import { loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import { SMALL } from '../flow/small-flow.ts'
import type { BadInput, Row } from './trying.ts'

/** Bad input in the folders of flows: what whoever writes one then reads. Nothing of it is served. */

const FLOW = 'tube-out/flow.yaml'
const WORDS = 'tube-out/wording.en.yaml'

/** The message of a code, for a small folder of flows with one piece replaced, or with files beside. */
function told(
  sent: string,
  code: string,
  file: string,
  old: string,
  spoilt: string,
  more: Record<string, string> = {},
): Row {
  const before = SMALL[file] ?? ''
  expect(before.split(old).length, `${sent}: "${old}" once in ${file}`).toBe(2)
  const files = { ...SMALL, ...more, [file]: before.replace(old, () => spoilt) }
  const { set, problems } = loadFlows(new Map(Object.entries(files)))
  const found = problems.find(one => one.code === code)
  expect(found, `${sent}: ${problems.map(problemText).join('\n')}`).toBeDefined()
  expect(set, sent).toBeUndefined()
  return { where: 'flow', sent, shown: found === undefined ? '' : problemText(found) }
}

const happens = 'The folder is refused, with file, line and what was expected; the flows that were served before stay.'

export const flowInputs: readonly BadInput[] = [
  {
    id: 'B20',
    name: 'flows: what is no YAML that can be read one way only',
    happens,
    run: async () => [
      told('a bracket that is not closed', 'YAML_SYNTAX', FLOW, 'say: [cover]\n', 'say: [cover\n'),
      told('a tab', 'YAML_SYNTAX', FLOW, '    say: [cover]', '\tsay: [cover]'),
      told(
        'the same key twice',
        'YAML_SYNTAX',
        FLOW,
        '    ask: danger-signs',
        '    ask: danger-signs\n    ask: danger-signs',
      ),
      told('names that stand for each other', 'YAML_SYNTAX', FLOW, 'cancel: [left]', 'cancel: &a [left]\n    say: *a'),
      told('an empty file', 'YAML_SYNTAX', WORDS, SMALL[WORDS] ?? '', ''),
    ],
  },
  {
    id: 'B21',
    name: 'flows: keys and versions that are not known',
    happens,
    run: async () => [
      told('an unknown key', 'UNKNOWN_KEY', FLOW, '    say: [cover]', '    st: [cover]'),
      told(
        'a directive of another version',
        'YAML_SYNTAX',
        FLOW,
        'concern: tube-out',
        '%YAML 1.1\n---\nconcern: tube-out',
      ),
      told('a decision that there is not', 'WRONG_VALUE', FLOW, 'decide: set-out', 'decide: setout'),
    ],
  },
  {
    id: 'B22',
    name: 'flows: steps that are missing, that nothing leads to, that lead round and round',
    happens,
    run: async () => [
      told('a step that is not there', 'UNKNOWN_ID', FLOW, '- { go: opening }', '- { go: openning }'),
      told(
        'a step that nothing leads to',
        'STEP_UNREACHABLE',
        FLOW,
        '  again:\n',
        '  alone: { wait: true }\n  again:\n',
      ),
      told(
        'a way round without a question',
        'LOOP',
        FLOW,
        '  again:\n    cancel: [left]\n    wait: true',
        '  again:\n    cancel: [left]\n    go: round\n  round: { go: again }',
      ),
      told(
        'an end before anything is decided',
        'END_UNDECIDED',
        FLOW,
        '  hold:\n    say: [cover]\n    go: danger',
        '  hold:\n    say: [cover]\n    end: true',
      ),
    ],
  },
  {
    id: 'B23',
    name: 'flows: rows that leave a hole or can never be reached, values of another kind',
    happens,
    run: async () => [
      told('no last row without a condition', 'ROUTE_NOT_TOTAL', FLOW, '      - { go: opening }\n', ''),
      told(
        'a length compared with a word',
        'NOT_COMPARABLE',
        FLOW,
        'if: { danger: [present] }',
        'if: { travel: [present] }',
      ),
    ],
  },
  {
    id: 'B25',
    name: 'flows: words that are missing, too hard or too long',
    happens,
    run: async () => [
      told(
        'advice without its words',
        'WORDING_MISSING',
        WORDS,
        'say/cover: Cover the opening.',
        'say/other: Cover the opening.',
      ),
      told(
        'a value that there is not',
        'WORDING_BROKEN',
        WORDS,
        'Cover the opening.',
        '"Cover the opening of {childName}."',
      ),
    ],
  },
  {
    id: 'B27',
    name: 'flows: danger that an earlier row would take away',
    happens: `${happens} An ambulance is never said without its number.`,
    run: async () => [
      told(
        'a row without condition before the one for danger',
        'ROUTE_SHADOWED',
        FLOW,
        '- { if: { danger: [present] }, go: shared/emergency }',
        '- { go: opening }\n      - { if: { danger: [present] }, go: shared/emergency }',
      ),
    ],
  },
  {
    id: 'B28',
    name: 'flows: alarms that cannot be meant',
    happens,
    run: async () => [
      told(
        'an alarm with a moment and a length',
        'WRONG_VALUE',
        FLOW,
        '- { name: left, after: left-check, go: again }',
        '- { name: left, after: left-check, at: leave-by, go: again }',
      ),
      told('an alarm after a length that there is not', 'UNKNOWN_ID', FLOW, 'after: left-check', 'after: left-chek'),
      told(
        'one alarm with two targets',
        'ALARM_TWO_TARGETS',
        FLOW,
        '- { name: late, at: leave-by, go: again }',
        '- { name: left, at: leave-by, go: danger }',
      ),
    ],
  },
  {
    id: 'B30',
    name: 'flows: two under one name',
    happens,
    run: async () => [
      told('a flow under the name of another folder', 'CONCERN_NAME', FLOW, 'concern: tube-out', 'concern: skin'),
    ],
  },
]
