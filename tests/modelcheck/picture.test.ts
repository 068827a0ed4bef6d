import { describe, expect, it } from 'vitest'
import { pictureFiles } from '../../src/cli/draw.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { flowPicture, type Part, type Picture, sharedPicture } from '../../src/modelcheck/pictures/graph.ts'
import { crossings, layOut } from '../../src/modelcheck/pictures/layout.ts'
import { sheetsOf } from '../../src/modelcheck/pictures/svg.ts'
import { conditionWords } from '../../src/modelcheck/pictures/words.ts'
import { instant } from '../../src/time/instant.ts'

const loaded = loadLine({ clinicDir: DEMO_CLINIC, at: instant(0) }).loaded as LoadedLine
const { flows } = loaded.line
const pictures: readonly [string, Picture][] = [
  ...[...flows.flows.values()].map((flow): [string, Picture] => [flow.concern, flowPicture(flow, flows, 'en')]),
  ['shared', sharedPicture(flows, 'en')],
]

describe.each(pictures)('the picture of %s', (name, picture) => {
  const boxes = picture.parts.flatMap(part => part.boxes)

  it('has every step once, and every way on', () => {
    const steps = boxes.flatMap(box => box.steps)
    expect(new Set(steps).size).toBe(steps.length)
    const shared = new Map([...flows.flows.values()].flatMap(flow => [...flow.steps]))
    const all = flows.flows.get(name)?.steps ?? shared
    const own = [...all.keys()].filter(id => id.startsWith('shared/') === (name === 'shared'))
    expect(steps.toSorted()).toEqual(own.toSorted())
    for (const box of boxes) {
      const last = all.get(box.steps.at(-1) ?? '')
      const timed = box.steps.flatMap(id => all.get(id)?.alarms ?? []).length
      expect(box.exits.length, box.id).toBe((last?.rows.length ?? 0) + timed)
    }
  })

  it('has no two boxes of a part on one another, and each within its sheet', () => {
    for (const part of picture.parts) {
      const { boxes: placed, width, height } = layOut(part, () => 'elsewhere')
      for (const [index, a] of placed.entries()) {
        expect(a.x + 56).toBeLessThanOrEqual(width + 0.01)
        expect(a.y + a.height).toBeLessThanOrEqual(height + 0.01)
        for (const b of placed.slice(index + 1))
          expect(a.x === b.x && a.y < b.y + b.height && b.y < a.y + a.height, `${a.box.id} and ${b.box.id}`).toBe(false)
      }
    }
  })

  it('draws a line from every exit to a box further right, and writes every other', () => {
    for (const part of picture.parts) {
      const { ways } = layOut(part, () => 'elsewhere')
      for (const { from, to, points } of ways) {
        expect(part.columnOf.get(to) ?? -1, `${from} to ${to}`).toBeGreaterThan(part.columnOf.get(from) ?? 0)
        for (const [index, [x]] of points.entries()) expect(x).toBeGreaterThanOrEqual(points[index - 1]?.[0] ?? 0)
      }
    }
  })

  it('fits A3 sheets, says urgency in words, and has no colour but black, white and grey', () => {
    for (const { svg } of sheetsOf(picture)) {
      expect(svg).toMatch(/^<svg [^>]*viewBox="0 0 420 297"/)
      for (const [, r, g, b] of svg.matchAll(/#([0-9a-f])([0-9a-f])([0-9a-f])\b/g)) expect([r, g]).toEqual([g, b])
      expect(svg).not.toMatch(/<script|href="https?:/)
    }
  })

  it('is a page whose links lead somewhere', () => {
    const [page] = pictureFiles(loaded, name)
    const ids = new Set([...(page?.text ?? '').matchAll(/ id="([^"]+)"/g)].map(([, one]) => one))
    const links = [...(page?.text ?? '').matchAll(/href="#([^"]+)"/g)].map(([, one]) => one)
    expect(links.filter(one => !ids.has(one))).toEqual([])
  })
})

describe('conditions', () => {
  it('are words, never ids: every value of every worked-out fact has some', () => {
    const wording = flows.wording.get('en')
    for (const [fact, { values }] of Object.entries(flows.derived)) {
      for (const value of values)
        expect(conditionWords({ [fact]: [value] }, undefined, flows, wording)).not.toBe(`${fact}: ${value}`)
    }
  })
})

/** A part of two columns: three boxes, each with one way to the box of the same name in capitals. */
function tangled(): Part {
  const box = (boxId: string, to?: string) => ({
    id: boxId,
    steps: [boxId],
    lines: [],
    exits: to === undefined ? [] : [{ text: 'then', to, isTimed: false }],
  })
  const boxes = [box('a', 'C'), box('b', 'B'), box('c', 'A'), box('A'), box('B'), box('C')]
  const columnOf = new Map([...'abc'].map((one): [string, number] => [one, 0]).concat([...'ABC'].map(one => [one, 1])))
  return { number: 1, head: 'a', boxes, columnOf }
}

describe('the order of boxes in a column', () => {
  // Three lines that all cross as listed can be drawn without a crossing by turning one side over.
  it('crosses no line where none has to cross', () => {
    const part = tangled()
    const { boxes } = layOut(part, () => undefined)
    const columns = [0, 1].map(column =>
      boxes
        .filter(({ box }) => part.columnOf.get(box.id) === column)
        .toSorted((a, b) => a.y - b.y)
        .map(({ box }) => ({ id: box.id })),
    )
    const links = part.boxes.flatMap(({ id, exits }) =>
      exits.flatMap(({ to }) => (to === undefined ? [] : [{ from: id, to, port: 0 }])),
    )
    expect(crossings([[...'abc'].map(id => ({ id })), [...'ABC'].map(id => ({ id }))], links)).toBe(3)
    expect(crossings(columns, links)).toBe(0)
  })
})
