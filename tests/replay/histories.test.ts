import { readdirSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { smallhours } from '../support/smallhours.ts'

/** Recorded by the release in the file's name, with the flows it served. They are never written anew: a release adds its own. */
const HISTORIES = join(import.meta.dirname, '../histories')

describe('histories of released versions', () => {
  it('are there, one a release', () => expect(readdirSync(HISTORIES).toSorted()).toEqual(['0.1.0.jsonl.gz']))

  it('replay to the byte, with the flows they bring', async () => {
    const { code, out, err } = await smallhours('replay', HISTORIES, '--json')
    expect(err).toBe('')
    expect(JSON.parse(out)).toMatchObject({ differing: 0, withoutFlow: 0, faults: 0, leftOut: 0 })
    expect(JSON.parse(out).cases).toBeGreaterThan(50)
    expect(code).toBe(0)
  })
})
