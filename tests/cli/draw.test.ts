import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-draw-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

const draw = (...args: string[]) => smallhours('draw', ...args)

/** Marks laid over a picture, by the steps of their box. */
function marksIn(svg: string): Map<string, string> {
  const boxes = svg.split('<g class="').slice(1)
  return new Map(
    boxes.flatMap(box => {
      const steps = /class="id"[^>]*>([^<]+)</.exec(box)?.[1]
      const mark = /class="mark"[^>]*>([^<]+)</.exec(box)?.[1]
      return steps === undefined || mark === undefined ? [] : [[steps, mark] as const]
    }),
  )
}

describe('draw', () => {
  it('writes a page and its sheets for every flow and for what they share', async () => {
    const out = join(folder, 'all')
    const { code, err } = await draw('--out', out)
    expect([code, err]).toEqual([0, ''])
    for (const name of ['someone.html', 'someone-1.svg', 'tube-out.html', 'tube-out-1.svg', 'shared.html'])
      expect(existsSync(join(out, name)), name).toBe(true)
  })

  it('numbers the steps of one conversation, and leaves the others pale', async () => {
    const script = join(folder, 'way.script')
    writeFileSync(script, 'start someone\ntap danger-signs none\ntap ring-back write-only\n')
    const out = join(folder, 'way')
    const { code } = await draw('someone', '--way', script, '--svg', '--out', out)
    expect([code, readdirSync(out)]).toEqual([0, ['someone-1.svg']])
    const svg = readFileSync(join(out, 'someone-1.svg'), 'utf8')
    expect(Object.fromEntries(marksIn(svg))).toEqual({
      start: '1',
      number: '3',
      waiting: '4',
    })
    expect(svg).toMatch(/<g class="pale"[\s\S]*still-alone/)
  })

  it('counts in how many situations each step was come to', async () => {
    const file = join(folder, 'situations.yaml')
    const situation = (id: string, signs: string) =>
      `- { id: ${id}, title: A person is wanted, source: { title: common practice, how: practice }, at: "2026-03-01T07:10:00Z", concern: someone, answers: { danger-signs: ${signs}, wakes: no }, expect: {} }\n`
    writeFileSync(file, situation('well', '[none]') + situation('in-doubt', 'unsure'))
    const out = join(folder, 'covered')
    const { code, err } = await draw('someone', '--situations', file, '--svg', '--out', out)
    expect([code, err]).toEqual([0, ''])
    const marks = marksIn(readFileSync(join(out, 'someone-1.svg'), 'utf8'))
    expect(marks.get('start')).toBe('2')
    expect(marks.get('number')).toBe('1')
    expect(marks.has('still-alone')).toBe(false)
  })

  it.each([
    [['tube-uot'], 'did you mean "tube-out"?'],
    [['--way', 'a', '--situations', 'b'], 'not both'],
    [['--finding', '1'], 'needs the flow'],
  ])('%j ends with 2 and says what was expected', async (args, words) => {
    const { code, err } = await draw(...args)
    expect(code).toBe(2)
    expect(err).toContain(words)
  })
})
