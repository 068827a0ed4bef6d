import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { caregiverInputs } from './caregiver.ts'
import { clinicInputs } from './clinic.ts'
import { flowInputs } from './flows.ts'
import { httpInputs } from './http.ts'
import { messengerInputs } from './messenger.ts'
import { type NightLine, nightLine } from './night-line.ts'
import { badInputsPage } from './page.ts'
import { reviewInputs } from './reviews.ts'
import { signInInputs } from './sign-in.ts'
import { transcriptInputs } from './transcripts.ts'
import type { BadInput, Row } from './trying.ts'

const PAGE = join(import.meta.dirname, '../../docs/safety/bad-inputs.md')
/** A class that comes in by two ways has one number: its rows stand together. */
const together = (parts: readonly BadInput[]): BadInput => ({
  id: parts[0]?.id ?? '',
  name: parts[0]?.name ?? '',
  happens: parts.map(({ happens }) => happens).join(' '),
  async run(line) {
    const rows: Row[] = []
    for (const part of parts) rows.push(...(await part.run(line)))
    return rows
  },
})

const byId = Map.groupBy(
  [
    ...caregiverInputs,
    ...httpInputs,
    ...clinicInputs,
    ...flowInputs,
    ...messengerInputs,
    ...signInInputs,
    ...transcriptInputs,
    ...reviewInputs,
  ],
  ({ id }) => id,
)
const inputs: readonly BadInput[] = [...byId.values()]
  .map(together)
  .toSorted((a, b) => Number(a.id.slice(1)) - Number(b.id.slice(1)))

/** Kinds of log lines that say nothing of a fault. */
const HARMLESS = ['cases-purged']

/** To print the page anew after a change of words: PRINT_BAD_INPUTS=1 npm test -- tests/bad-input */
const isPrinting = process.env.PRINT_BAD_INPUTS === '1'

describe('bad inputs through the whole bot', { timeout: 120_000 }, () => {
  let line: NightLine
  const rows = new Map<string, readonly Row[]>()
  beforeAll(async () => {
    line = await nightLine()
  })
  afterAll(() => line.stop())

  test.each(inputs)('$id $name', async input => {
    // A class that is tried at the command line holds this process up: the server has closed lines meanwhile that are still pooled here.
    await fetch(`${line.origin}/health`).catch(() => undefined)
    rows.set(input.id, await input.run(line))
  })

  test('none of it was a fault, none put the line in doubt, and the log holds none of the words', () => {
    const kinds = line.logged.map(({ what }) => String(what))
    expect(kinds.filter(what => !HARMLESS.includes(what))).toEqual([])
    const log = JSON.stringify(line.logged)
    for (const { sent } of [...rows.values()].flat()) if (sent.length > 12) expect(log).not.toContain(sent)
  })

  test('docs/safety/bad-inputs.md says what was shown, word for word', () => {
    expect([...rows.keys()].toSorted()).toEqual(inputs.map(({ id }) => id).toSorted())
    const page = badInputsPage(inputs, rows)
    if (isPrinting) writeFileSync(PAGE, page)
    expect(page).toBe(readFileSync(PAGE, 'utf8'))
  })
})
