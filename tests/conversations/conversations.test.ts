import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { clinicWith, newFolder } from '../whole/process.ts'
import { printedConversation } from './printing.ts'

const here = import.meta.dirname
const scripts = readdirSync(here)
  .filter(name => name.endsWith('.script'))
  .map(name => name.replace(/\.script$/, ''))

/** To print them all anew after a change of flows or wording: PRINT_CONVERSATIONS=1 npm test -- tests/conversations */
const isPrinting = process.env.PRINT_CONVERSATIONS === '1'

describe('whole conversations, printed as a caregiver reads them', { timeout: 60_000 }, () => {
  const folder = newFolder()
  const clinics: Record<string, string> = {}
  beforeAll(() => {
    clinics['settled-tract-locks-open'] = clinicWith(
      join(folder.path, 'locks-open'),
      '  home-replacement: on\n  hold-open-settled: on\n',
    )
    // Nobody has the first shift, and the ladder has no other rung.
    clinics['nobody-on-call'] = clinicWith(join(folder.path, 'nobody'), '  left-check: PT10M\n', yaml =>
      yaml
        .replace(/^ladder:\n(?: {2}.*\n)*/m, 'ladder:\n  - { on-call: first }\n')
        .replace(
          /^rota:\n {2}first:\n(?: {4}.*\n)*/m,
          'rota:\n  first:\n    monday: [{ from: 08:00, to: 09:00, who: amara }]\n',
        ),
    )
  })
  afterAll(() => folder.remove())

  test('there are at least ten, and each has its printed copy', () => {
    expect(scripts.length).toBeGreaterThanOrEqual(10)
    if (isPrinting) return
    const copies = readdirSync(here).filter(name => name.endsWith('.txt'))
    expect(copies.map(name => name.replace(/\.txt$/, '')).toSorted()).toEqual(scripts.toSorted())
  })

  test.each(scripts)('%s reads as printed', async name => {
    const { printed, complaints } = await printedConversation(join(here, `${name}.script`), clinics[name])
    if (name === 'nobody-on-call') expect(complaints).toContain('LADDER_EMPTY')
    else expect(complaints).toBe('')
    const copy = join(here, `${name}.txt`)
    if (isPrinting) writeFileSync(copy, printed)
    expect(printed).toBe(readFileSync(copy, 'utf8'))
  })

  test('every message of the bot has both numbers under it', () => {
    for (const name of scripts) {
      const text = readFileSync(join(here, `${name}.txt`), 'utf8')
      const messages = text.split(/^\d{1,2}:\d\d (?:[ap]m|[ap]\. m\.) {2}(?:Clinic's bot|Bot de la clínica)$/m).slice(1)
      expect(messages.length, name).toBeGreaterThan(3)
      for (const message of messages)
        expect(message, name).toMatch(/^ {2}Emergenc(?:y|ias): 911 {3}.*: \+1 212 555 0110 \(/m)
    }
  })
})
