import { describe, expect, it } from 'vitest'
import { understand } from '../../src/understand/understand.ts'
import { contextOn, typed } from './english.ts'
import { spanish } from './lexicons.ts'

// A dose that was vomited is a dose not kept, and for fits or steroids that cannot wait [8.11, 8.12, 6.22].
describe('a dose that came up again', () => {
  it.each([
    ['Gave the seizure medicine, he threw it all up', 'yes'],
    ['gave her steroid and she brought it back up', 'yes'],
    ['he vomited his epilepsy meds', 'yes'],
    ['threw up the whole antibiotic dose', undefined],
  ])('"%s" is about the medicine first, the vomiting kept', (text, critical) => {
    expect(typed(text)).toMatchObject({
      concerns: ['medicine', 'feed-trouble'],
      facts: {
        'medicine-trouble': { value: 'came-up' },
        ...(critical === undefined ? {} : { 'critical-medicine-due': { value: critical } }),
      },
    })
  })

  it('in Spanish too', () => {
    const text = 'le di la medicina de la epilepsia y la vomitó toda'
    expect(understand({ kind: 'text', text }, contextOn(undefined, { lexicon: spanish }))).toMatchObject({
      concerns: ['medicine', 'feed-trouble'],
      facts: { 'critical-medicine-due': { value: 'yes' } },
    })
  })

  it('vomiting with a medicine named in another sentence stays vomiting first', () => {
    expect(typed('She keeps vomiting her feed. She had her antibiotics at noon.')).toMatchObject({
      concerns: ['feed-trouble'],
    })
    expect(typed('the tube came out and she threw up her medicine')).toMatchObject({
      concerns: ['tube-out', 'medicine', 'feed-trouble'],
    })
  })
})
