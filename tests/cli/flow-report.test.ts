import { describe, expect, it } from 'vitest'
import { contentOf, storedFigures } from '../../src/cli/check-figures.ts'
import { staleClinicPages } from '../../src/cli/docs.ts'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { clinicPages } from '../../src/cli/flow-report.ts'

const pages = clinicPages()
const report = pages.find(({ file }) => file === 'flow-report.md')?.text ?? ''

describe('the flows in words and pictures', () => {
  it('are as the flows are now (else: npm run docs)', () =>
    expect(staleClinicPages().map(({ file }) => file)).toEqual([]))

  it('have a page and at least one sheet for each flow and for what they share', () => {
    const files = pages.map(({ file }) => file)
    for (const name of ['someone', 'tube-out', 'shared'])
      expect(files).toEqual(expect.arrayContaining([`pictures/${name}.html`, `pictures/${name}-1.svg`]))
  })

  it('say what was not checked, and that no clinician has reviewed them', () => {
    expect(report).toContain('**No clinician has reviewed these flows.**')
    expect(report).toMatch(/Not checked: whether a rule is right/)
  })

  it('have every question of the family in its words', () => {
    for (const words of ['Look at the opening. What is in it now?', 'Have you left for the hospital?'])
      expect(report).toContain(`**${words}**`)
  })
})

describe('the figures of the report', () => {
  const figures = storedFigures()

  it('are of these flows and rules (else: smallhours check --figures docs/figures/flows.json, then npm run docs), or the report says that there are none', () => {
    if (figures === undefined) expect(report).toContain('No figures yet')
    else expect(figures.content).toBe(contentOf(readFlowFiles()))
  })

  it('are of flows that were walked whole, none with a rule that breaks', () => {
    for (const { broken, states } of figures?.flows ?? []) {
      expect(broken).toEqual([])
      expect(states).toBeGreaterThan(0)
    }
  })
})

describe('what figures are held to', () => {
  const files = new Map([
    ['a/flow.yaml', 'x: 1\n# note\n'],
    ['a/wording.en.yaml', 'say/x: Hello'],
  ])
  const changed = (path: string, text: string) => contentOf(new Map([...files, [path, text]]))

  it('neither comments nor words change it, since nothing that is walked does', () => {
    expect(changed('a/flow.yaml', 'x: 1\n# other\n')).toBe(contentOf(files))
    expect(changed('a/wording.en.yaml', 'say/x: Goodbye')).toBe(contentOf(files))
  })

  it('a changed step does', () => expect(changed('a/flow.yaml', 'x: 2')).not.toBe(contentOf(files)))
})
