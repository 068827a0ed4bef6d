import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { flowsKept } from '../../src/cli/edition-archive.ts'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { checkerResult } from '../../src/cli/incident-check.ts'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'

const kept = flowsKept(readFlowFiles())
const asked = { concern: 'skin', flow: 'a'.repeat(64), kept, clinicDir: DEMO_CLINIC }

describe('the checker’s result in an incident bundle', () => {
  it('is of the sources the case was opened under, with the rules of today, and leaves nothing behind', async () => {
    let folder = ''
    const result = await checkerResult({
      ...asked,
      walker: flowsDir => async concern => {
        folder = flowsDir
        expect(readFileSync(join(flowsDir, 'skin/flow.yaml'), 'utf8')).toBe(kept.files['skin/flow.yaml'])
        expect([...readFlowFiles(flowsDir).keys()].some(path => path.startsWith('rules/'))).toBe(true)
        return { holds: false, found: [`${concern}: a rule does not hold`] }
      },
    })
    expect(result).toEqual({
      ...{ kind: 'walked', concern: 'skin', flow: asked.flow, rules: expect.stringMatching(/^[0-9a-f]{64}$/) },
      ...{ holds: false, found: ['skin: a rule does not hold'] },
    })
    expect(existsSync(folder)).toBe(false)
  })

  it('says that nothing was walked where that fails, and writes no file outside its folder', async () => {
    const failing = () => async () => {
      throw new Error('no memory')
    }
    expect(await checkerResult({ ...asked, walker: failing })).toEqual({ kind: 'not-walked', why: 'no memory' })
    const unread = () => async () => ({ holds: false, found: ['shared/lint.en.yaml:1:1 FILE_MISSING'] })
    expect(await checkerResult({ ...asked, walker: unread })).toMatchObject({ kind: 'not-walked' })
    const leading = { ...kept, files: { ...kept.files, '../out.yaml': 'x' } }
    expect(await checkerResult({ ...asked, kept: leading, walker: failing })).toMatchObject({
      why: expect.stringContaining('outside their folder: ../out.yaml'),
    })
  })
})
