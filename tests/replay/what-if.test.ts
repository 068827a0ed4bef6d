import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Line } from '../../src/case/line.ts'
import { flowsKept } from '../../src/cli/edition-archive.ts'
import { flowsFrom } from '../../src/cli/flow-shelf.ts'
import { AROUND } from '../../src/cli/replay-around.ts'
import { BODY_CELSIUS } from '../../src/clinical/quantities.ts'
import { editionIn, lineOfEdition } from '../../src/replay/edition.ts'
import { everyAnswer } from '../../src/replay/every-answer.ts'
import { grouping } from '../../src/replay/groups.ts'
import { onTables } from '../../src/replay/table-kernel.ts'
import { type Judged, judged, verdictOf } from '../../src/replay/what-if.ts'
import { minutes } from '../../src/time/instant.ts'
import { anEvent, happens } from '../case/events-drawn.ts'
import { aLine, demoClinic, NIGHT, shippedFiles } from '../support/a-line.ts'
import { answerOf, aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { HIDDEN, readAll, transcriptOf } from './a-transcript.ts'

const line = aLine()
const fast = (one: Line): Line => ({ ...one, flows: onTables(one.flows) })

/** A talk, written down without names, held against another line. */
function heldAgainst(talk: CaseTalk, other: (was: Line) => Line, own: Line = line): Judged {
  const { reading, whole } = readAll(transcriptOf(own, [talk], { names: HIDDEN }))
  const [recorded] = whole
  const edition = [...reading.editions.values()][0]
  if (recorded === undefined || edition === undefined) throw new Error('a whole case was expected')
  const was = lineOfEdition(editionIn(edition), fast(own).flows)
  return judged(
    recorded,
    () => was,
    () => other(was),
    AROUND,
  )
}

/** The shipped flows with one text of a file changed; the change must be there to be made. */
function changedFlows(path: string, from: string | RegExp, to: string) {
  const text = shippedFiles.get(path) ?? ''
  const changed = text.replace(from, to)
  if (changed === text) throw new Error(`${path} does not hold ${String(from)}`)
  const { files, drawings } = flowsKept(new Map([...shippedFiles, [path, changed]]))
  const read = flowsFrom({ files, drawings })
  if ('wrong' in read) throw new Error(read.wrong)
  return onTables(read.set)
}

const differing = (one: Judged) => {
  if (one.kind !== 'differs') throw new Error(`it was expected to differ, and is: ${one.kind}`)
  return one
}

const plainTalk = (on = line) => aTalk(on).says().answersAll(PLAIN).waits(2).takes().waits(30)

describe('what if nothing is changed', () => {
  it('nothing comes out otherwise, whatever happened', () => {
    const answers = Object.fromEntries(Object.entries(PLAIN).map(([fact, said]) => [fact, answerOf(line, fact, said)]))
    const aDrawnTalk = fc.array(anEvent, { maxLength: 25 }).map(drawn => {
      const talk = aTalk(line).says()
      for (const one of drawn) happens(talk, one, answers)
      return talk
    })
    fc.assert(
      fc.property(aDrawnTalk, talk => {
        expect(heldAgainst(talk, was => was)).toEqual({ kind: 'same' })
      }),
      { numRuns: 60 },
    )
  })
})

describe('what if a flow were worse', () => {
  it('a page that is left out is told as less careful, with where it parts', () => {
    const flows = changedFlows('shared/steps.yaml', / {4}page: danger\n/, '')
    const talk = aTalk(line).says({}, ['fit']).waits(30)
    const found = differing(heldAgainst(talk, was => ({ ...was, flows })))
    expect(found.compared).toMatchObject({ direction: 'lowered' })
    expect(found.compared.kinds).toContain('pages')
    expect(found.was.pages.length).toBeGreaterThan(0)
    expect(found.may[0]?.outcome.pages).toEqual([])
    expect(found.cause).toMatch(/no longer sends a page/)
  })

  it('a decision made milder is told as less careful', () => {
    const flows = changedFlows('tube-out/flow.yaml', /decide: set-out\n/g, 'decide: speak\n')
    const found = differing(heldAgainst(plainTalk(), was => ({ ...was, flows })))
    expect(found.compared.direction).toBe('lowered')
    expect(found.was.disposition).toBe('set-out')
    expect(found.may.every(({ outcome }) => outcome.disposition !== 'set-out')).toBe(true)
    expect(found.cause).toContain('decides speak, not set-out')
  })

  it('holding advice that is left out is told, with its id', () => {
    const flows = changedFlows('tube-out/flow.yaml', 'bot-here, cover-if-empty, leave-if-in', 'bot-here, leave-if-in')
    const found = differing(heldAgainst(plainTalk(), was => ({ ...was, flows })))
    expect(found.compared.kinds).toEqual(['advice'])
    expect(found.cause).toContain('no longer say cover-if-empty')
  })

  it('the other way round the same change is told as more careful', () => {
    const milder = aLine({}, { flows: changedFlows('tube-out/flow.yaml', /decide: set-out\n/g, 'decide: speak\n') })
    const found = differing(heldAgainst(plainTalk(milder), was => ({ ...was, flows: fast(line).flows }), milder))
    expect(found.compared.direction).toBe('raised')
  })

  it('groups lie by cause, those with most cases less careful first', () => {
    const milder = changedFlows('tube-out/flow.yaml', /decide: set-out\n/g, 'decide: speak\n')
    const groups = grouping<string>(1)
    const held = (talk: CaseTalk) => verdictOf(heldAgainst(talk, was => ({ ...was, flows: milder })))
    for (const name of ['first', 'second', 'third']) groups.add(held(plainTalk()), name)
    groups.add(held(aTalk(line).says()), 'fourth')
    expect(groups.totals).toMatchObject({ cases: 4, differing: 3, lowered: 3, same: 1 })
    expect(groups.groups).toMatchObject([{ cases: 3, lowered: 3, examples: ['first'] }])
  })
})

describe('what if something were asked that nobody was asked', () => {
  const asksForPain = changedFlows(
    'tube-out/flow.yaml',
    '  device:\n    ask: device\n',
    '  device:\n    ask: fever-now\n    route:\n      - { if: { fever-now: [hot] }, go: left-early }\n      - { go: device-then }\n  device-then:\n    ask: device\n'
      .replaceAll('fever-now', 'wakes')
      .replaceAll('hot', 'no'),
  )

  it('every answer is followed, and the range is given', () => {
    const found = differing(heldAgainst(plainTalk(), was => ({ ...was, flows: asksForPain })))
    const answers = found.may.map(({ explored }) =>
      explored.map(({ fact, answer }) => [fact, answer.kind === 'choice' ? answer.value : answer.kind]),
    )
    // Whoever says no is sent off at once, and is then asked what nobody was asked either: whether they have arrived.
    expect(new Set(answers.map(([first]) => JSON.stringify(first)))).toEqual(
      new Set(['["wakes","yes"]', '["wakes","no"]', '["wakes","unsure"]']),
    )
    expect(found.cause).toContain('asks wakes, not device')
    // Whoever says yes goes the old way: the answers given then are given now.
    const [was, now] = [
      found.was,
      found.may.find(({ explored: [first] }) => JSON.stringify(first).includes('"yes"'))?.outcome,
    ]
    expect(now?.disposition).toBe(was.disposition)
    expect(new Set(now?.advice)).toEqual(new Set(was.advice))
    expect(found.isPartial).toBe(false)
  })

  it('a family that had stopped answering stops there too', () => {
    const talk = aTalk(line).says().answers('in-opening', 'nothing').waits(1)
    expect(heldAgainst(talk, was => ({ ...was, flows: asksForPain }))).toEqual({ kind: 'same' })
  })

  it('answers to a time lie on both sides of every limit that a setting names', () => {
    const before = Object.fromEntries(Object.entries(PLAIN).filter(([fact]) => fact !== 'first-placed'))
    const talk = aTalk(line).says().answersAll(before)
    expect(talk.asked()).toBe('first-placed')
    const answers = everyAnswer(line, talk.state, 'first-placed', talk.now)
    const tracts = answers.map(answer => {
      const copy = aTalk(line)
      Object.assign(copy, { state: talk.state, now: talk.now })
      return copy.answers('first-placed', answer).state.kernel.facts.tract
    })
    // It counts as settled only once somebody has said that it was changed before, which is asked later.
    expect(new Set(tracts)).toEqual(new Set(['first-days', 'new', 'unknown']))
    const ages = answers.flatMap(answer => (answer.kind === 'moment' ? [talk.now - answer.latest] : []))
    const { 'tract-settled-after': settledAfter } = line.settings
    expect(ages.some(age => age > settledAfter)).toBe(true)
    expect(ages.some(age => age < settledAfter && age > line.settings['first-days'])).toBe(true)
    expect(answers.some(answer => answer.kind === 'unsure')).toBe(true)
  })

  it('nobody is taken to answer with a temperature that no living child has', () => {
    const talk = aTalk(line, 'skin').says()
    const { path } = talk.state
    const reached = { ...talk.state, path: { ...path, asked: [...path.asked, 'temperature'] } }
    const figures = everyAnswer(line, reached, 'temperature', talk.now).flatMap(answer =>
      answer.kind === 'number' ? [answer.value] : [],
    )
    expect(figures.length).toBeGreaterThan(1)
    expect(figures.every(value => value >= BODY_CELSIUS.least && value <= BODY_CELSIUS.most)).toBe(true)
  })

  it('a question more whose answer changes nothing is no difference: the answers given then are given when asked', () => {
    const more = changedFlows(
      'tube-out/flow.yaml',
      '  opening:\n    ask: in-opening\n',
      '  opening:\n    ask: with-child\n    go: opening-then\n  opening-then:\n    ask: in-opening\n',
    )
    expect(heldAgainst(plainTalk(), was => ({ ...was, flows: more }))).toEqual({ kind: 'same' })
  })
})

describe('what if a setting or the rota were other', () => {
  it('a later second page is told, and no case is called less careful whose first page is as before', () => {
    const later = aLine({ 'ladder-urgent': ['PT9M', 'PT20M', 'PT30M'] }).settings
    const talk = aTalk(line).says({}, ['fit']).waits(12)
    const found = differing(heldAgainst(talk, was => ({ ...was, settings: later })))
    expect(found.compared.kinds).toEqual(['pages'])
    expect(found.compared.direction).toBe('lowered')
    expect(found.was.pages.length).toBeGreaterThan(found.may[0]?.outcome.pages.length ?? 0)
  })

  it('a rota with nobody on it is told as less careful', () => {
    const { clinic } = aLine({}, { clinic: demoClinic() })
    const nobody = { ...clinic, ladder: [], people: [], desks: [] }
    const talk = aTalk(line).says({}, ['fit']).waits(30)
    const found = differing(heldAgainst(talk, was => ({ ...was, clinic: nobody })))
    expect(found.compared.direction).toBe('lowered')
    expect(talk.now).toBe(NIGHT + minutes(30))
  })

  it('a case that people took over is not compared, and said so', () => {
    const talk = aTalk(line).says()
    const parked = AROUND.park(line, { kind: 'greeted' }, talk.now)[0]
    talk.log.push({ event: { kind: 'greeted' }, at: talk.now, effects: parked?.effects ?? [] })
    expect(heldAgainst(talk, was => was)).toEqual({ kind: 'not-comparable', why: 'handed-to-people' })
  })
})
