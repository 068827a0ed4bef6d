import { mkdirSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect } from 'vitest'
import { HIDDEN, parsed, rechained, transcriptOf } from '../replay/a-transcript.ts'
import { aLine, NIGHT } from '../support/a-line.ts'
import { aTalk, type CaseTalk } from '../support/case-talk.ts'
import { smallhours } from '../support/smallhours.ts'
import type { BadInput, Row } from './trying.ts'

/** Bad input in files of recorded cases, and bad places to write them to: what whoever answers for the quality then reads. */

const DAY_MS = 86_400_000

/** Three cases of few steps each, under names that sort as they are written. */
function threeCases(): string[] {
  const named = (caseId: string, talk: CaseTalk) => Object.assign(talk, { state: { ...talk.state, caseId } })
  const names = { ...HIDDEN, case: (id: string) => id }
  return transcriptOf(
    aLine(),
    ['case-1', 'case-2', 'case-3'].map(name => named(name, aTalk().says().answers('in-opening', 'nothing').waits(1))),
    { names },
  )
}

/** What the check says of a file: its first fault, without the folder, and how many cases are still whole. */
async function checked(folder: string, sent: string, content: string | Buffer): Promise<Row> {
  const name = 'file.jsonl'
  writeFileSync(join(folder, name), content)
  const { code, out, err } = await smallhours('transcript', 'check', join(folder, name))
  expect(code, sent).toBe(1)
  const [first = ''] = err.split('\n')
  return { where: 'transcript', sent, shown: `${first.replaceAll(`${folder}/`, '')} / ${out.trim()}` }
}

async function refused(sent: string, ...words: readonly string[]): Promise<Row> {
  const { code, err } = await smallhours(...words)
  expect(code, sent).toBe(2)
  return { where: 'command', sent, shown: (err.split('\n')[0] ?? '').replace(/\/\S*\/(?=[\w.-]+)/g, '') }
}

const inFolder = async (work: (folder: string) => Promise<Row[]>): Promise<Row[]> => {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-bad-transcript-'))
  try {
    return await work(folder)
  } finally {
    rmSync(folder, { recursive: true })
  }
}

export const transcriptInputs: readonly BadInput[] = [
  {
    id: 'B44',
    name: 'transcripts cut off, reordered, altered, of a time to come, of other versions',
    happens:
      'Each fault is told with its line. A case that one touches is left out of replay, what-if, import and export; the others are used. The check ends with 1.',
    run: () =>
      inFolder(async folder => {
        const lines = threeCases()
        const second = lines.findIndex(line => line.includes('"kind":"case"') && line.includes('"case-2"'))
        const step = second + 2
        const text = (all: readonly string[]) => `${all.join('\n')}\n`
        const all = parsed(lines)
        const changed = (change: Record<string, unknown>) =>
          text(rechained(all.with(step, { ...all[step], ...change })))
        const latin = Buffer.concat([
          Buffer.from(text(lines.slice(0, step))),
          Buffer.from([0x7b, 0xe9, 0x7d, 0x0a]),
          Buffer.from(text(lines.slice(step + 1))),
        ])
        return [
          await checked(folder, 'nothing', ''),
          await checked(
            folder,
            'the file cut off in a line',
            text(lines).slice(0, text(lines.slice(0, step)).length + 40),
          ),
          await checked(folder, 'a step left out', text(lines.toSpliced(step, 1))),
          await checked(folder, 'a step twice', text(lines.toSpliced(step, 0, lines[step] ?? ''))),
          await checked(
            folder,
            'two steps the other way round',
            text(lines.with(step, lines[step - 1] ?? '').with(step - 1, lines[step] ?? '')),
          ),
          await checked(
            folder,
            'one word of a decision changed',
            text(lines.with(step, (lines[step] ?? '').replace('"audible":true', '"audible":false'))),
          ),
          await checked(
            folder,
            'the same, with the chain made right again, and a step number wrong',
            changed({ seq: 7 }),
          ),
          await checked(folder, 'a step of next year', changed({ at: NIGHT + 900 * DAY_MS })),
          await checked(folder, 'an event that does not exist', changed({ event: { kind: 'tubeFlew' } })),
          await checked(folder, 'a step of another case', changed({ case: 'case-9' })),
          await checked(folder, 'two files, one behind the other', text([...lines, ...lines])),
          await checked(folder, 'another version', text(rechained(all.with(0, { ...all[0], version: 9 })))),
          await checked(folder, 'ISO 8859-1', latin),
          await checked(folder, 'a byte order mark', `\uFEFF${text(lines)}`),
          await checked(folder, 'lines that end in CR LF', lines.map(line => `${line}\r\n`).join('')),
          await checked(folder, 'a file of another program', '{"resourceType":"Bundle"}\n'),
        ]
      }),
  },
  {
    id: 'B46',
    name: 'places to write to that are there already, links, purposes that are formulas',
    happens:
      'Nothing is written over, nothing through a link, and no part of a file under its whole name. Names inside a file never become paths.',
    run: () =>
      inFolder(async folder => {
        const there = join(folder, 'there.jsonl')
        writeFileSync(there, 'kept')
        mkdirSync(join(folder, 'empty'))
        symlinkSync(there, join(folder, 'link.jsonl'))
        return [
          await refused('transcript export over a file', 'transcript', 'export', there),
          await refused('transcript export over a link', 'transcript', 'export', join(folder, 'link.jsonl')),
          await refused('export fhir over a file', 'export', 'fhir', there, '--out', there),
          await refused('incident over a file', 'incident', 'Sun 4719', '--out', there, '--purpose', 'incident 7'),
          await refused(
            'a purpose that is a formula',
            'transcript',
            'export',
            join(folder, 'a'),
            '--keep',
            'words',
            '--purpose',
            '=HYPERLINK("http://x")',
          ),
          await refused('names kept without a purpose', 'transcript', 'export', join(folder, 'a'), '--keep', 'names'),
          await refused('an incident bundle that is not there', 'incident', 'verify', join(folder, '..', 'none')),
          await refused('a folder without transcripts', 'replay', join(folder, 'empty')),
        ]
      }),
  },
]
