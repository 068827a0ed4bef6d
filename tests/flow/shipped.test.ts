import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { CLOSE, CLOSURE, PROMISE, RUNG } from '../../src/case/alarm.ts'
import { DERIVED } from '../../src/case/derive.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import { CASE_ALARMS } from '../../src/flow/steps.ts'
import { shippedFiles, shippedFlows } from '../support/a-line.ts'
import { readOnce } from '../support/read-once.ts'

interface SourcesFile {
  readonly sources: Record<string, unknown>
  readonly advice: Record<string, { tags: string[] } & Record<string, unknown>>
}
const sourceFiles = [...shippedFiles.keys()].filter(path => path.endsWith('/sources.yaml'))
const read = (path: string) => parse(shippedFiles.get(path) ?? '', { version: '1.2' }) as SourcesFile
const hazardous = Object.entries(shippedFlows.tags).flatMap(([id, tag]) => (tag.hazardous === true ? [id] : []))

/** Advice and each hazardous tag it carries, over every shipped flow. */
const hazards = sourceFiles.flatMap(file =>
  Object.entries(read(file).advice).flatMap(([advice, { tags }]) =>
    tags.filter(tag => hazardous.includes(tag)).map(tag => ({ file, advice, tag })),
  ),
)

describe('the shipped flows', () => {
  it('load with no problem and no warning', () => {
    expect(loadFlows(shippedFiles).problems.map(problemText)).toEqual([])
    expect([...shippedFlows.flows.keys()].sort()).toEqual(expect.arrayContaining(['someone', 'tube-out']))
  })

  it('have every text in English and in Spanish, with no finding in either', () => {
    const lacking = loadFlows(shippedFiles, undefined, { languages: ['en', 'es'] }).problems
    expect(lacking.map(problemText)).toEqual([])
    for (const { concern, wording } of shippedFlows.flows.values())
      expect([...wording.keys()].toSorted(), concern).toEqual(['en', 'es'])
  })

  it('use only derived facts that are worked out, and alarm names that the case keeps free', () => {
    expect(Object.keys(shippedFlows.derived).sort()).toEqual([...DERIVED].sort())
    expect(CASE_ALARMS).toEqual(expect.arrayContaining([RUNG, PROMISE, CLOSURE, CLOSE]))
  })

  it('tell of hazardous acts with the tags that the locked steps need', () => {
    const told = new Set(hazards.map(({ tag }) => tag))
    expect(['puts-into-site', 'replace-tube', 'hold-open', 'restarts-feed'].filter(tag => !told.has(tag))).toEqual([])
  })

  it.each(hazards)('are refused when $advice loses its tag $tag', ({ file, advice, tag }) => {
    const changed = read(file)
    const item = changed.advice[advice]
    if (item === undefined) throw new Error(`no advice ${advice}`)
    item.tags = item.tags.filter(one => one !== tag)
    const { set, problems } = loadFlows(new Map([...shippedFiles, [file, JSON.stringify(changed)]]), readOnce)
    expect(set).toBeUndefined()
    const told = new Set(problems.map(({ code, file, found }) => `${file.slice(-7)} ${code} ${found}`))
    // A flow may be written before its Spanish.
    const wording = (language: string) => shippedFiles.get(file.replace('sources.yaml', `wording.${language}.yaml`))
    const written = ['en', 'es'].filter(one => wording(one)?.includes(`say/${advice}:`) === true)
    expect(told).toEqual(
      new Set(written.map(one => `${one}.yaml TAG_MISSING "${advice}" tells someone to do what "${tag}" means`)),
    )
  })

  it.each(hazardous)('know English and Spanish words that give "%s" away', tag => {
    const { words } = shippedFlows.tags[tag] ?? {}
    expect(words?.en?.length).toBeGreaterThan(0)
    expect(words?.es?.length).toBeGreaterThan(0)
  })
})

/** One plain order for each hazardous tag, in words a clinic might write. */
const orders: Readonly<Record<string, readonly string[]>> = {
  'puts-into-site': [
    'Put the spare tube in.',
    'Slide the tube in gently.',
    'Insert the catheter as far as it goes.',
    'Put the old tube back in.',
  ],
  'hold-open': ['Hold the opening open with a catheter.', 'Put the smaller holding tube in.'],
  'replace-tube': ['Put the new tube in.', 'Replace the tube now.', 'Change the tube at home.'],
  'restarts-feed': ['Start the feed again.', 'You may give the feed.', 'Turn the pump on.', 'Run the feed slowly.'],
  'flush-water': ['Flush the tube.', 'Push 5 mL of water through.', 'Put a little water through it.'],
  'check-balloon': ['Check the balloon.', 'Draw the water out.', 'Measure the water in the balloon.'],
  'refill-balloon': ['Fill the balloon with 5 mL.', 'Top up the balloon.', 'Put the water back into the balloon.'],
  'by-mouth': ['Give sugar by mouth.', 'Offer a drink.', 'Let your child take sips of water.'],
  'give-medicine': ['Give the medicine now.', 'Give the dose late.'],
}

describe('the lint of hazardous words', () => {
  const flagged = (text: string) => {
    const changed = read('tube-out/sources.yaml')
    const files = new Map([
      ...shippedFiles,
      [
        'tube-out/sources.yaml',
        JSON.stringify({ ...changed, advice: { ...changed.advice, probe: { tags: [], own: 'a probe' } } }),
      ],
      [
        'tube-out/wording.en.yaml',
        `${shippedFiles.get('tube-out/wording.en.yaml') ?? ''}\nsay/probe: ${JSON.stringify(text)}\n`,
      ],
    ])
    return loadFlows(files, readOnce)
      .problems.filter(({ code }) => code === 'TAG_MISSING')
      .map(({ found }) => found)
  }

  it('has an order to try for every hazardous tag', () => {
    expect(Object.keys(orders).sort()).toEqual([...hazardous].sort())
  })

  it.each(Object.entries(orders).flatMap(([tag, texts]) => texts.map(text => ({ tag, text }))))(
    'finds "$tag" in "$text"',
    ({ tag, text }) => {
      expect(flagged(text)).toContainEqual(expect.stringContaining(`"${tag}"`))
      expect(flagged(`Wait. If nobody comes, ${text.toLowerCase()}`)).toContainEqual(
        expect.stringContaining(`"${tag}"`),
      )
    },
  )

  it.each([
    'Do not put a tube in.',
    'Never flush it.',
    'Give no feed.',
    'Do not check or fill the balloon.',
    'Nothing by mouth: give no drink and no sips of water.',
    'Stop the feed. Put nothing through the tube.',
  ])('takes "%s" for what it is, an order not to', text => {
    expect(flagged(text)).toEqual([])
  })
})
