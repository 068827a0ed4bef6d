import { readdirSync, readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { DISPOSITIONS } from '../../src/flow/document.ts'

// What this file checks is that the vignettes are well formed and test what they say; the command runs them.
const folder = new URL('./', import.meta.url)
const read = (url: URL): unknown => parse(readFileSync(fileURLToPath(url), 'utf8'), { version: '1.2' })
const shared = (name: string) => read(new URL(`../../flows/shared/${name}`, folder))

interface Vignette {
  readonly id: string
  readonly title: string
  readonly source: { readonly title: string; readonly how: string }
  readonly at: string
  readonly knows?: Readonly<Record<string, unknown>>
  readonly answers: Readonly<Record<string, unknown>>
  readonly policy?: Readonly<Record<string, unknown>>
  readonly expect: {
    readonly decides?: string
    readonly 'at-least'?: string
    readonly advises?: readonly string[]
    readonly never?: readonly string[]
    readonly 'leave-by'?: string
  }
}

const files = readdirSync(fileURLToPath(folder)).filter(name => name.endsWith('.yaml'))
const vignettes = files.flatMap(name => read(new URL(name, folder)) as Vignette[])
const byId = new Map(vignettes.map(vignette => [vignette.id, vignette]))
const { facts } = shared('facts.yaml') as { facts: Record<string, { kind: string; values?: string[] }> }
const { tags } = shared('tags.yaml') as { tags: Record<string, unknown> }

const answersOf = ({ knows, answers }: Vignette): Record<string, unknown> => ({ ...knows, ...answers })

/** Facts whose answers differ, not counting what came of an attempt, which follows from whether one was offered. */
function differing(a: Vignette, b: Vignette): readonly string[] {
  const [left, right] = [answersOf(a), answersOf(b)]
  const all = new Set([...Object.keys(left), ...Object.keys(right)])
  all.delete('replaced')
  return [...all].filter(fact => JSON.stringify(left[fact]) !== JSON.stringify(right[fact]))
}

/** The open situation of each lock, and the ids of the shut ones beside it. */
const PAIRS = [
  { open: 'home-open', shut: /^home-closed-/, switch: 'home-replacement', act: 'replace-tube' },
  { open: 'hold-open', shut: /^hold-closed-/, switch: 'hold-open-settled', act: 'hold-open' },
  { open: 'hold-new-open', shut: /^hold-new-closed-/, switch: 'hold-open-new', act: 'hold-open' },
] as const

describe('the vignettes', () => {
  it('are at least 64, each with an id of its own, a source and an instant', () => {
    expect(vignettes.length).toBeGreaterThanOrEqual(64)
    expect(byId.size).toBe(vignettes.length)
    for (const { id, source, at, title } of vignettes) {
      expect(id).toMatch(/^[a-z0-9]+(-[a-z0-9]+)*$/)
      expect([title, source.title].every(text => text.length > 0)).toBe(true)
      expect(['direct', 'derived', 'worked-case', 'case-report', 'practice']).toContain(source.how)
      expect(Number.isNaN(Date.parse(at))).toBe(false)
    }
  })

  it('name only facts, values, tags and dispositions that there are', () => {
    const wrong = vignettes.flatMap(vignette =>
      Object.entries(answersOf(vignette)).flatMap(([fact, value]) => {
        const document = facts[fact]
        if (fact === 'age') return []
        if (document === undefined) return [`${vignette.id}: ${fact}`]
        const values = document.kind === 'many' && Array.isArray(value) ? value : [value]
        const listed = document.kind === 'choice' || document.kind === 'many'
        return listed
          ? values
              .filter(one => !(document.values ?? []).includes(String(one)))
              .map(one => `${vignette.id}: ${fact}: ${one}`)
          : []
      }),
    )
    expect(wrong).toEqual([])
    for (const { id, expect: expected } of vignettes) {
      const named = [...(expected.advises ?? []), ...(expected.never ?? [])]
      expect([id, named.filter(tag => tags[tag] === undefined)]).toEqual([id, []])
      expect(DISPOSITIONS).toContain(expected.decides ?? expected['at-least'])
    }
  })

  it.each(PAIRS)('$open: each shut situation differs from the open one in one thing alone', pair => {
    const open = byId.get(pair.open)
    const shut = vignettes.filter(({ id }) => pair.shut.test(id))
    if (open === undefined) throw new Error(`no vignette ${pair.open}`)
    expect(open.expect.advises).toContain(pair.act)
    expect(shut.length).toBeGreaterThanOrEqual(7)
    for (const vignette of shut) {
      const facts = differing(open, vignette)
      const isOff = vignette.policy?.[pair.switch] !== 'on'
      expect([vignette.id, facts.length + (isOff ? 1 : 0)]).toEqual([vignette.id, 1])
      expect(vignette.expect.never).toEqual(expect.arrayContaining([pair.act, 'restarts-feed']))
      expect(vignette.expect.decides).toBe('set-out')
    }
  })

  it('switch the lock on wherever "not sure" is what keeps it shut', () => {
    const locked = vignettes.filter(
      ({ id, expect: { never } }) =>
        id.startsWith('unsure-') && never?.includes('replace-tube') === true && never.includes('hold-open'),
    )
    expect(locked.length).toBeGreaterThan(10)
    for (const { id, policy } of locked) expect([id, Object.values(policy ?? {}).includes('on')]).toEqual([id, true])
  })

  it('work out leave-by from out, soonest and travel alone', () => {
    const minutes = (text: unknown): number => {
      const [, hours, mins] = /^PT(?:(\d+)H)?(?:(\d+)M)?$/.exec(String(text)) ?? []
      return Number(hours ?? 0) * 60 + Number(mins ?? 0)
    }
    const timed = vignettes.filter(vignette => vignette.expect['leave-by'] !== undefined)
    expect(timed.length).toBeGreaterThanOrEqual(15)
    for (const { id, at, answers, policy, expect: expected } of timed) {
      const soonest = minutes(policy?.['closure-soonest'] ?? 'PT60M')
      const slack = answers.travel === undefined ? 0 : soonest - minutes(answers.travel)
      const leaveBy = Date.parse(at) + (slack - minutes(answers['out-since'])) * 60_000
      expect([id, leaveBy]).toEqual([id, Date.parse(String(expected['leave-by']))])
    }
  })
})
