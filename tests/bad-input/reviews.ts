import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { dataFiles } from '../../src/cli/data-folder.ts'
import { reviewerFile } from '../../src/review/reviewer-file.ts'
import type { Score } from '../../src/review/score.ts'
import { openReviewFile } from '../../src/store/sqlite/review-file.ts'
import { instant } from '../../src/time/instant.ts'
import { NIGHT } from '../support/a-line.ts'
import { aScore, aSummary, shippedRubric } from '../support/review-parts.ts'
import { smallhours } from '../support/smallhours.ts'
import type { BadInput, Row } from './trying.ts'

/** A data folder in which one case is drawn for review. */
function drawn(folder: string): string {
  const data = join(folder, 'data')
  mkdirSync(data)
  writeFileSync(dataFiles(data).signingKeyFile, '')
  const reviews = openReviewFile(join(data, 'reviews.sqlite'))
  reviews.keepSummaries([aSummary('c1')])
  const draw = { month: '2026-03', seed: 's', from: 1, size: 1, at: NIGHT, by: 'machine' }
  reviews.keepDraw(draw, [{ caseId: 'c1', reasons: ['random'] }])
  reviews.close()
  return data
}

async function inFolder(work: (folder: string) => Promise<Row[]>): Promise<Row[]> {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-bad-reviews-'))
  try {
    return await work(folder)
  } finally {
    rmSync(folder, { recursive: true })
  }
}

const NAME = 'scores.csv'

const files: BadInput = {
  id: 'B45',
  name: 'reviewer files with missing, strange or double scores',
  happens:
    'Each line with a fault is named by its number and left out; the others are taken in. A score that is in is never changed.',
  run: () =>
    inFolder(async folder => {
      const data = drawn(folder)
      const file = join(folder, NAME)
      const tried = async (sent: string, text: string): Promise<Row> => {
        writeFileSync(file, text)
        const { out, err } = await smallhours('review', 'import', file, '--data', data)
        return { where: 'review import', sent, shown: `${err}${out}`.replaceAll(file, NAME) }
      }
      const good = aScore('linh')
      const one = (change: Partial<Score>) => reviewerFile(shippedRubric, [{ ...good, ...change }])
      const without = (answer: string) => one({ answers: { ...good.answers, 'plain-words': answer as 'yes' } })
      return [
        await tried('an item without an answer', without('')),
        await tried('an answer that is none', without('5')),
        await tried('a case that was not drawn', one({ caseId: 'c2' })),
        await tried('somebody who does not review', one({ reviewer: 'tomas' })),
        await tried('a number in the note', one({ note: 'ring 212 555 0142' })),
        await tried('a time to come', one({ at: instant(Date.parse('2099-01-01T00:00:00Z')) })),
        await tried('two scores by one person', reviewerFile(shippedRubric, [good, { ...good, safe: false }])),
        await tried('the same file again', one({})),
        await tried('another head', 'case,score\r\nc1,5\r\n'),
        await tried('a quote that is not closed', one({}).replace('safe', '"safe')),
      ]
    }),
}

const exports: BadInput = {
  id: 'B46',
  name: 'what is given out: a file that is there, a formula',
  happens: 'A text that a table program would take for a formula gets an apostrophe in front.',
  run: () =>
    inFolder(async folder => {
      const data = drawn(folder)
      const reviews = openReviewFile(join(data, 'reviews.sqlite'))
      reviews.addScore(aScore('linh', { note: '=HYPERLINK("http://evil.example")' }))
      reviews.close()
      const file = join(folder, NAME)
      await smallhours('review', 'export', file, '--data', data)
      const note = readFileSync(file, 'utf8').split('\r\n')[1]?.split(',').at(-1) ?? ''
      const again = await smallhours('review', 'export', file, '--data', data)
      return [
        { where: 'review export', sent: 'a note that begins with =', shown: note },
        {
          where: 'review export',
          sent: 'onto a file that is there',
          shown: (again.err.split('\n')[0] ?? '').replaceAll(file, NAME),
        },
      ]
    }),
}

export const reviewInputs: readonly BadInput[] = [files, exports]
