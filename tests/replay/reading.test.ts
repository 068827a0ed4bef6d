import { describe, expect, it } from 'vitest'
import { hours, instant } from '../../src/time/instant.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { HIDDEN, parsed, readAll, rechained, transcriptOf } from './a-transcript.ts'

/** Three cases of one line; the second is long. */
function threeTalks(): CaseTalk[] {
  const named = (caseId: string, talk: CaseTalk) => Object.assign(talk, { state: { ...talk.state, caseId } })
  return [
    named('case-1', aTalk().says().answersAll(PLAIN)),
    named('case-2', aTalk().says().answersAll(PLAIN).takes().waits(20)),
    named('case-3', aTalk().says({}, ['fit']).waits(4)),
  ]
}

const lines = transcriptOf(aLine(), threeTalks())
const places = (kind: string) => parsed(lines).flatMap((line, index) => (line.kind === kind ? [index] : []))
/** Position of the second case's third step. */
const inSecond = (places('case')[1] ?? 0) + 3
const codes = (faults: readonly { place: number; code: string }[]) =>
  faults.map(({ place, code }) => `${place} ${code}`)

describe('a transcript', () => {
  it('is read back as it was written, whole cases in order, no fault', () => {
    const { whole, faults, leftOut, reading } = readAll(lines)
    expect(faults).toEqual([])
    expect(leftOut).toBe(0)
    expect(whole.map(({ head }) => head.case)).toEqual(['case-1', 'case-2', 'case-3'])
    const talks = threeTalks()
    expect(whole.map(({ steps }) => steps.map(({ event, effects }) => ({ event, effects })))).toEqual(
      talks.map(({ log }) => JSON.parse(JSON.stringify(log.map(({ event, effects }) => ({ event, effects }))))),
    )
    expect(reading.editions.size).toBe(1)
  })

  it('holds no word, name or number of anybody when it is de-identified', () => {
    const talk = aTalk().says().answersAll(PLAIN).takes()
    talk.does({
      kind: 'clinicianWrote',
      by: { id: 'amara', name: 'Amara Osei', role: 'nurse' },
      text: 'I ring you, Zoe',
    })
    talk.does({ kind: 'personWanted', said: 'my name is Zebedee, ring +1 212 555 0142' })
    const text = transcriptOf(aLine(), [talk], { names: HIDDEN }).join('\n')
    for (const word of ['Zebedee', 'Zoe', 'Amara', 'Osei', 'his tube is out', '5550142', '555 0142', '"amara"'])
      expect(text).not.toContain(word)
    expect(text).toContain('[taken out]')
    expect(transcriptOf(aLine(), [talk]).join('\n')).toContain('Zebedee')
  })
})

/** What is wrong, the file, and what is told: the place of the line, the kind, and how many cases are still read. */
const WRONG: readonly [what: string, lines: readonly (string | undefined)[], told: readonly string[], read: number][] =
  [
    ['an empty file', [], ['1 cut-off'], 0],
    ['cut off between two lines', lines.slice(0, inSecond), [`${inSecond + 1} cut-off`], 1],
    [
      'cut off in a line',
      [...lines.slice(0, inSecond), (lines[inSecond] ?? '').slice(0, 60)],
      [`${inSecond + 1} not-json`, `${inSecond + 2} cut-off`],
      1,
    ],
    ['a step left out', lines.toSpliced(inSecond, 1), [`${inSecond + 1} missing`], 2],
    ['a step twice', lines.toSpliced(inSecond, 0, lines[inSecond] ?? ''), [`${inSecond + 2} repeated`], 2],
    [
      'two steps in the other order',
      lines.with(inSecond, lines[inSecond + 1] ?? '').with(inSecond + 1, lines[inSecond] ?? ''),
      [`${inSecond + 1} missing`, `${inSecond + 2} reordered`],
      2,
    ],
    [
      'one letter of a step changed',
      lines.with(inSecond, (lines[inSecond] ?? '').replace('"kind":"reply"', '"kind":"replx"')),
      [`${inSecond + 1} shape`],
      2,
    ],
    [
      'an advice changed with its shape kept',
      lines.with(inSecond, (lines[inSecond] ?? '').replace('"audible":false', '"audible":true')),
      [`${inSecond + 1} altered`],
      2,
    ],
    [
      'a line that is no UTF-8',
      lines.map((line, at) => (at === inSecond ? undefined : line)),
      [`${inSecond + 1} encoding`],
      2,
    ],
    ['an empty line before the first case', lines.toSpliced(2, 0, ''), ['3 not-json'], 3],
    [
      'a foreign line between two cases',
      lines.toSpliced(inSecond - 3, 0, 'Page 1 of 7'),
      [`${inSecond - 2} not-json`],
      3,
    ],
    [
      'three empty lines in a case, whose chain goes on behind them',
      lines.toSpliced(inSecond, 0, '', '', ''),
      [1, 2, 3].map(at => `${inSecond + at} not-json`),
      3,
    ],
    [
      'a foreign line where a step stood',
      lines.with(inSecond, 'Page 1 of 7'),
      [`${inSecond + 1} not-json`, `${inSecond + 2} chain-broken`],
      2,
    ],
    [
      'a foreign line, and the step behind it changed',
      lines
        .with(inSecond, (lines[inSecond] ?? '').replace('"audible":false', '"audible":true'))
        .toSpliced(inSecond, 0, 'Page 1 of 7'),
      [`${inSecond + 1} not-json`, `${inSecond + 2} altered`],
      2,
    ],
    [
      'two lines that cannot be read where one step stood',
      lines.toSpliced(inSecond, 1, '', 'Page 1 of 7'),
      [`${inSecond + 1} not-json`, `${inSecond + 2} not-json`, `${inSecond + 3} chain-broken`],
      2,
    ],
    ['a byte order mark', lines.with(0, `\uFEFF${lines[0]}`), ['1 encoding'], 3],
    ['lines of another system', lines.map(line => `${line}\r`), ['1 line-ending'], 3],
    ['two files put one behind the other', [...lines, ...lines], [`${lines.length + 1} out-of-place`], 3],
    ['no transcript', ['{"resourceType":"Bundle"}', ...lines], ['1 not-a-transcript'], 0],
    ['a spreadsheet', ['case;step;said', '1;2;=HYPERLINK("x")'], ['1 not-json'], 0],
    ['a text in UTF-16', ['\u0000{\u0000"\u0000l', ...lines], ['1 encoding'], 0],
  ]

describe('a transcript that is not as it was written', () => {
  it.each(WRONG)('%s: is told by line, and every other case is read', (_what, file, told, read) => {
    const { faults, whole } = readAll(file)
    const first = codes(faults).filter(code => !code.endsWith(' counts'))
    expect(first.slice(0, told.length)).toEqual(told)
    expect(first.length).toBeLessThan(told.length + 3)
    expect(whole).toHaveLength(read)
    for (const { found } of faults) expect(found.length).toBeLessThan(250)
  })

  /** Each change to parsed lines, with the chain made right again: what only content tells. */
  const step = parsed(lines)[inSecond] ?? {}
  const changed = (change: Record<string, unknown>) => rechained(parsed(lines).with(inSecond, { ...step, ...change }))
  const RECHAINED: readonly [what: string, lines: readonly string[], code: string, read: number][] = [
    ['another version', rechained(parsed(lines).with(0, { ...parsed(lines)[0], version: 2 })), 'other-version', 0],
    ['a step of a time to come', changed({ at: NIGHT + hours(24 * 365) }), 'future', 2],
    ['a step before the one before it', changed({ at: NIGHT - 1 }), 'time-backwards', 2],
    ['a step of another case', changed({ case: 'case-9' }), 'out-of-place', 2],
    ['a step number left out', changed({ seq: 9 }), 'missing', 2],
    ['an edition nobody brought', changed({ edition: 'a'.repeat(64) }), 'unknown-edition', 2],
    ['an event that does not exist', changed({ event: { kind: 'tubeFlew' } }), 'shape', 2],
    ['an event without what it needs', changed({ event: { kind: 'answerGiven' } }), 'shape', 2],
    ['a field nobody knows', changed({ seqq: 1 }), 'shape', 2],
    ['a path for a name', changed({ case: '../../etc/passwd' }), 'out-of-place', 2],
  ]
  it.each(RECHAINED)('%s, with a chain made anew: is told all the same', (_what, file, code, read) => {
    const { faults, whole } = readAll(file)
    expect(faults.map(fault => fault.code)).toContain(code)
    expect(whole).toHaveLength(read)
  })

  it('an edition whose content is another than its hash says leaves out the cases that rest on it', () => {
    const [head = {}, edition = {}, ...rest] = parsed(lines)
    const content = { ...(edition.content as object), language: 'xx' }
    const { faults, whole } = readAll(rechained([head, { ...edition, content }, ...rest]))
    expect(faults[0]?.code).toBe('altered')
    expect(whole).toHaveLength(0)
  })

  it('a case twice, and cases out of order, are told', () => {
    const [first = 0, second = 0, third = 0] = places('case')
    const all = parsed(lines)
    const twice = [...all.slice(0, second), ...all.slice(first)]
    expect(readAll(rechained(twice)).faults.map(({ code }) => code)).toContain('case-twice')
    const swapped = [
      ...all.slice(0, first),
      ...all.slice(second, third),
      ...all.slice(first, second),
      ...all.slice(third),
    ]
    expect(readAll(rechained(swapped)).faults.map(({ code }) => code)).toContain('reordered')
  })

  it('a file made by a clock that runs ahead is told', () => {
    const { faults } = readAll(lines, instant(NIGHT + hours(2)))
    expect(codes(faults)).toEqual(['1 future'])
  })
})
