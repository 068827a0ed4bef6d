import { canonicalText } from '../flow/content.ts'
import { lineWriter } from '../replay/chain.ts'
import { editionOf } from '../replay/edition.ts'
import { KEEPS_ALL, type Names } from '../replay/names.ts'
import { TRANSCRIPT_VERSION } from '../replay/transcript.ts'
import { drawnYear } from '../review/drawn-year.ts'
import { recordLines } from '../review/record-lines.ts'
import { sha256, systemClock } from '../runtime/system-clock.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print, wholeNumber } from './command.ts'
import { flowsKept } from './edition-archive.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { toBeWritten } from './places-said.ts'
import { reportProblems } from './problems.ts'
import { SOFTWARE } from './software.ts'
import { wholeFile } from './transcript-file.ts'

const CASES_MOST = 1_000_000
const PROGRESS_EVERY = 1_000

export const yearCommand: Command = {
  name: 'year',
  summary: 'an invented year of a clinic as a transcript: drawn families, played through the real step',
  usage: [
    'smallhours year FILE [--seed TEXT] [--cases NUMBER] [--year YEAR] [--clinic FOLDER] [--flows FOLDER]',
    '    20,000 cases unless said. The same seed, flows and clinic give the same cases. Nothing in it happened to anybody.',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      seed: { type: 'string', default: 'harbour' },
      cases: { type: 'string', default: '20000' },
      year: { type: 'string', default: '2025' },
    })
    const [file, ...more] = positionals
    if (file === undefined || more.length > 0) throw new CalledWrongly('one file to write was expected')
    toBeWritten(file)
    const cases = wholeNumber('--cases', values.cases, 1, CASES_MOST)
    const year = wholeNumber('--year', values.year, 2000, 2100)
    const now = systemClock().now()
    const { loaded, problems } = loadLine({
      ...{ clinicDir: values.clinic, at: now },
      ...(values.flows === undefined ? {} : { flowsDir: values.flows }),
    })
    if (reportProblems(problems) || loaded === undefined) return 1
    const out = wholeFile(file)
    const writer = lineWriter(sha256)
    try {
      let steps = 0
      let done = 0
      const put = (line: Parameters<typeof writer.write>[0]) => out.write(`${writer.write(line)}\n`)
      const content = JSON.parse(JSON.stringify(editionOf(loaded.line, INVENTED)))
      const edition = sha256(canonicalText(content))
      put({ kind: 'transcript', version: TRANSCRIPT_VERSION, madeAt: now, software: SOFTWARE, kept: [] })
      put({ kind: 'edition', edition, content })
      // Its flows go with it: they will have changed when somebody looks at it again.
      if (loaded.files !== undefined) {
        const kept = flowsKept(loaded.files)
        put({ kind: 'flows', flows: sha256(canonicalText(kept)), content: JSON.parse(JSON.stringify(kept)) })
      }
      for (const record of drawnYear(loaded.line, { seed: values.seed, year, cases, hash: sha256 })) {
        for (const line of recordLines(loaded.line, record, INVENTED, edition)) put(line)
        steps += record.steps.length
        done++
        if (done % PROGRESS_EVERY === 0) complain(`${done.toLocaleString('en')} of ${cases.toLocaleString('en')} cases`)
      }
      put({ kind: 'end', cases: done, steps })
      out.finish()
      print(
        `${file}: ${done.toLocaleString('en')} invented cases, ${steps.toLocaleString('en')} steps. Seed: ${values.seed}`,
      )
      return 0
    } catch (error) {
      out.discard()
      throw error
    }
  },
}

/** Everybody in it is invented already: names of the invented clinic stay, as in its file. */
const INVENTED: Names = { ...KEEPS_ALL, family: (_channel, chat) => chat }
