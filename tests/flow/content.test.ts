import { describe, expect, it } from 'vitest'
import { parse, stringify } from 'yaml'
import { canonicalText, flowContent, restOfWording, settingsReadBy } from '../../src/flow/content.ts'
import { changeText, contentChanges } from '../../src/flow/content-changes.ts'
import type { FlowSet } from '../../src/flow/flow-set.ts'
import { sha256 } from '../../src/runtime/system-clock.ts'
import { aLine, shippedFiles as allFiles, flowsOf } from '../support/a-line.ts'
import { aTalk, PLAIN } from '../support/case-talk.ts'

/** Two of the shipped flows: what is said of them holds however many more are written. */
const shippedFiles = new Map([...allFiles].filter(([path]) => /^(shared|someone|tube-out|rules)\//.test(path)))
const shippedFlows = flowsOf(shippedFiles)

const drawing = (id: string) => `digest of ${id}`

/** Hash of each flow, and of the words that no flow holds. */
function hashes(set: FlowSet, digest = drawing): Record<string, string> {
  const flows = [...set.flows.keys()].map(id => [id, sha256(canonicalText(flowContent(set, id, digest)))])
  return { ...Object.fromEntries(flows), rest: sha256(canonicalText(restOfWording(set))) }
}

const shipped = hashes(shippedFlows)

/** The shipped flows with one piece of one file replaced; throws when it does not stand there exactly once. */
function changed(file: string, from: string, to: string): FlowSet {
  const text = shippedFiles.get(file) ?? ''
  if (text.split(from).length !== 2) throw new Error(`"${from}" does not stand exactly once in ${file}`)
  return flowsOf(new Map([...shippedFiles, [file, text.replace(from, () => to)]]))
}

/** Ids of what has another hash. */
const touched = (set: FlowSet) =>
  Object.entries(hashes(set))
    .filter(([id, hash]) => shipped[id] !== hash)
    .map(([id]) => id)
    .toSorted()

describe('one changed character changes the hash of exactly what it touches', () => {
  it.each([
    ['a piece of advice of one flow', 'tube-out/wording.en.yaml', 'say/no-tries: ', 'say/no-tries: Now ', ['tube-out']],
    [
      'advice that both flows say',
      'shared/wording.en.yaml',
      'say/bot-here: ',
      'say/bot-here: Now ',
      ['someone', 'tube-out'],
    ],
    [
      'shared advice that one flow says',
      'shared/wording.en.yaml',
      'say/keep-tube: ',
      'say/keep-tube: Now ',
      ['tube-out'],
    ],
    [
      'the withdrawal of advice',
      'tube-out/wording.en.yaml',
      'stop/replace-once: "Stop',
      'stop/replace-once: "Now stop',
      ['tube-out'],
    ],
    [
      'a question that both ask',
      'shared/wording.en.yaml',
      'ask/danger-signs: ',
      'ask/danger-signs: Now ',
      ['someone', 'tube-out'],
    ],
    [
      'a question that one asks',
      'shared/wording.en.yaml',
      'ask/first-placed: ',
      'ask/first-placed: Now ',
      ['tube-out'],
    ],
    [
      'the words of a button',
      'shared/wording.en.yaml',
      'option/tube-found/yes: ',
      'option/tube-found/yes: Now ',
      ['tube-out'],
    ],
    ['a question that no flow asks yet', 'shared/wording.en.yaml', 'ask/leak-from: ', 'ask/leak-from: Now ', ['rest']],
    ['the name of a concern', 'shared/wording.en.yaml', 'concern/tube-out: ', 'concern/tube-out: Now ', ['tube-out']],
    ['why a page is sent', 'tube-out/wording.en.yaml', 'reason/put-back: ', 'reason/put-back: Now ', ['tube-out']],
    ['words of every page', 'shared/wording.en.yaml', 'page/parked: ', 'page/parked: Now ', ['someone', 'tube-out']],
    ['the fixed text', 'shared/wording.en.yaml', 'say/fallback: "', 'say/fallback: "Now ', ['someone', 'tube-out']],
    [
      'a step of one flow',
      'someone/flow.yaml',
      'say: [ring-clinic, worse-waiting]',
      'say: [worse-waiting, ring-clinic]',
      ['someone'],
    ],
    [
      'what a shared source is called',
      'shared/sources.yaml',
      'title: "Gastrostomy Tube Replacement"',
      'title: "Gastrostomy Tube Replacement."',
      ['someone', 'tube-out'],
    ],
    [
      'what "not sure" acts as',
      'shared/facts.yaml',
      'have-you-left: { kind: choice, values: [yes, no], unsure-acts-as: no }',
      'have-you-left: { kind: choice, values: [yes, no], unsure-acts-as: yes }',
      ['tube-out'],
    ],
    [
      'a fact that no flow reads',
      'shared/facts.yaml',
      'leak-from: { kind: choice, values: [none, around, middle, side], unsure-acts-as: around }',
      'leak-from: { kind: choice, values: [none, around, middle, side], unsure-acts-as: middle }',
      [],
    ],
  ] as const)('%s', (_what, file, from, to, expected) => {
    expect(touched(changed(file, from, to))).toEqual(expected)
  })

  it('a drawing that a question shows, by its bytes', () => {
    const other = hashes(shippedFlows, id => (id === 'balloon-long' ? 'other bytes' : drawing(id)))
    expect(other['tube-out']).not.toBe(shipped['tube-out'])
    expect(hashes(shippedFlows, id => (id === 'of-no-question' ? 'other bytes' : drawing(id)))).toEqual(shipped)
  })

  it('a comment, the layout and the order of keys change nothing', () => {
    const turned = new Map(
      [...shippedFiles].map(([path, text]): [string, string] => [
        path,
        `# Another comment\n${stringify(backwards(parse(text)), { indent: 4, lineWidth: 40 })}`,
      ]),
    )
    expect(touched(flowsOf(turned))).toEqual([])
  })

  it('another order in a list is another content: it decides what is said first', () => {
    const steps = 'say: [bot-here, person-wanted, ring-clinic, danger-ring]'
    expect(
      touched(changed('someone/flow.yaml', steps, steps.replace('bot-here, person-wanted', 'person-wanted, bot-here'))),
    ).toEqual(['someone'])
  })
})

/** The same value with the keys of every map the other way round. */
function backwards(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(backwards)
  if (value === null || typeof value !== 'object') return value
  return Object.fromEntries(
    Object.entries(value)
      .toReversed()
      .map(([key, inner]) => [key, backwards(inner)]),
  )
}

describe('nothing that can be shown is left out', () => {
  it('every shared text is in the content of a flow, or in the rest', () => {
    for (const [language, catalogue] of shippedFlows.wording) {
      const held = new Set([
        ...[...shippedFlows.flows.keys()].flatMap(id => Object.keys(wordsIn(shippedFlows, id, language))),
        ...Object.keys(restOfWording(shippedFlows)[language] ?? {}),
      ])
      expect(catalogue.ids.size).toBeGreaterThan(400)
      expect([...catalogue.ids].filter(id => !held.has(id))).toEqual([])
    }
  })

  it('whatever a step says, asks, pages or notes has its words in the content', () => {
    for (const [id, flow] of shippedFlows.flows) {
      const words = wordsIn(shippedFlows, id, 'en')
      const needed = [...flow.steps.values()].flatMap(({ say = [], ask, page, note }) => [
        ...say.map(advice => `say/${advice}`),
        ...(ask === undefined ? [] : [`ask/${ask}`, `label/${ask}`]),
        ...(page === undefined ? [] : [`reason/${page}`]),
        ...(note === undefined ? [] : [`note/${note}`]),
      ])
      expect(needed.length).toBeGreaterThan(10)
      expect(needed.filter(text => words[text] === undefined)).toEqual([])
      expect(words['say/fallback']).toContain('{emergency}')
    }
  })

  it('a setting whose figure stands in advice, or that an alarm counts by, is read: another figure asks for another approval', () => {
    expect(settingsReadBy(flowsOf(allFiles), 'clogged')).toEqual(expect.arrayContaining(['flush-ml', 'flush-wait']))
    expect(settingsReadBy(shippedFlows, 'tube-out')).not.toContain('flush-ml')
  })

  it('every setting that a night reads is among those the flow is said to read', () => {
    const read = new Set<string>()
    const line = aLine()
    const settings = new Proxy(line.settings, {
      get: (all, id) => {
        read.add(String(id))
        return Reflect.get(all, id)
      },
    })
    aTalk({ ...line, settings })
      .says()
      .answersAll(PLAIN)
      .waits(300)
    expect(read.size).toBeGreaterThan(8)
    expect([...read].filter(id => !settingsReadBy(shippedFlows, 'tube-out').includes(id))).toEqual([])
  })

  it('a concern without a flow is refused', () => {
    expect(() => flowContent(shippedFlows, 'nowhere', drawing)).toThrow('there is no flow "nowhere"')
  })
})

function wordsIn(set: FlowSet, concern: string, language: string): Record<string, string> {
  const { wording } = flowContent(set, concern, drawing) as { wording: Record<string, Record<string, string>> }
  return wording[language] ?? {}
}

describe('the canonical text', () => {
  // RFC 8785 (JSON Canonicalization Scheme), the sample of section 3.2, from memory.
  it('is what RFC 8785 asks for', () => {
    const sample = {
      numbers: [Number('333333333.33333329'), 1e30, 4.5, 2e-3, 0.000000000000000000000000001],
      string: '€$\u000F\nA\'B"\\\\"/',
      literals: [null, true, false],
    }
    expect(canonicalText(sample)).toBe(
      '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}',
    )
  })

  // FIPS 180-4, SHA-256 of "abc", from memory.
  it('is hashed with SHA-256', () => {
    expect(sha256('abc')).toBe('ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad')
  })
})

describe('what changed since', () => {
  it('names new, gone and changed pieces by their path, and nothing else', () => {
    const changes = contentChanges(
      { wording: { en: { a: 'Old words.', gone: 'Gone.' } }, list: [1, 2], same: true },
      { wording: { en: { a: 'New words.', more: 'More.' } }, list: [2, 1], same: true },
    )
    expect(changes.map(changeText)).toEqual([
      '~ list\n    was: [1,2]\n    is:  [2,1]',
      '~ wording.en.a\n    was: Old words.\n    is:  New words.',
      '- wording.en.gone: Gone.',
      '+ wording.en.more: More.',
    ])
  })
})
