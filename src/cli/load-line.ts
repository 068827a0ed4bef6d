import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { Line } from '../case/line.ts'
import { drawingsIn } from '../channels/webchat/drawing.ts'
import { type LoadedClinic, loadClinic } from '../config/clinic-file.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import type { Silenced } from '../flow/lint-exceptions.ts'
import { loadFlows } from '../flow/load.ts'
import type { Problem } from '../flow/problem.ts'
import { type Catalogue, catalogueOf } from '../flow/wording.ts'
import { readYaml, type YamlReader } from '../flow/yaml-places.ts'
import type { Instant } from '../time/instant.ts'
import { type Languages, languagesOf } from '../understand/language.ts'
import { type Lexicon, lexiconOf } from '../understand/lexicon.ts'
import { type Approvable, approvablesOf } from './approvable.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import type { KeptReadings } from './kept-readings.ts'

/** The invented clinic that ships with the bot. */
export const DEMO_CLINIC = fileURLToPath(new URL('../../deploy/demo-clinic', import.meta.url))

export interface LoadedLine {
  readonly line: Line
  readonly pagers: LoadedClinic['pagers']
  readonly retention: LoadedClinic['retention']
  readonly lexicon: Lexicon
  /** Tells which language a message is written in. */
  readonly languages: Languages
  /** Words of the screens. */
  readonly screen: Catalogue
}

const LANGUAGE = 'en'

/** What could be read of a line, whether or not it may be served. */
export interface ReadLine {
  readonly loaded?: LoadedLine
  readonly problems: readonly Problem[]
  /** Findings about the flows' words that somebody let pass. */
  readonly silenced: readonly Silenced[]
  readonly clinic: LoadedClinic
  /** Present when the flows can be read. */
  readonly flows?: FlowSet
  readonly approvables: readonly Approvable[]
}

/**
 * Reads clinic, flows, lexicon and screen words. `loaded` is present when nothing stands in the way of serving.
 * With `kept`, flows that were read and looked through before are not again.
 */
export function loadLine(options: {
  clinicDir: string
  flowsDir?: string
  at: Instant
  kept?: KeptReadings | undefined
}): ReadLine {
  const { kept } = options
  const read = kept?.read ?? readYaml
  const clinicDir = options.clinicDir
  const shipped = options.flowsDir ?? SHIPPED_FLOWS
  const clinic = loadClinic(clinicDir, options.at)
  const files = readFlowFiles(shipped, join(clinicDir, 'flows'))
  const limits = { grade: clinic.settings['reading-grade'] }
  const flows = loadFlows(files, read, limits, look => kept?.findings([...files, limits], look) ?? look())
  const problems = [...clinic.problems, ...flows.problems]
  const { silenced } = flows
  if (flows.set === undefined) return { problems, silenced, clinic, approvables: [] }
  const shared = (name: string) => readPlain(read, files.get(`shared/${name}`), `shared/${name}`)
  const lexicon = shared(`lexicon.${LANGUAGE}.yaml`)
  const screen = catalogueOf(LANGUAGE, shared(`wording.screen.${LANGUAGE}.yaml`) as Record<string, string>)
  const { settings } = clinic
  const approvables = approvablesOf({ flows: flows.set, settings, screen, lexicon, drawing: drawingOf })
  const readable = { problems, silenced, clinic, flows: flows.set, approvables }
  if (clinic.clinic === undefined) return readable
  const hashes = new Map(approvables.map(({ id, hash }) => [id, hash]))
  return {
    ...readable,
    loaded: {
      line: { flows: flows.set, clinic: clinic.clinic, settings, language: LANGUAGE, hashes },
      pagers: clinic.pagers,
      retention: clinic.retention,
      lexicon: lexiconOf(lexicon),
      languages: languagesOf(shared('languages.yaml')),
      screen,
    },
  }
}

function readPlain(read: YamlReader, text: string | undefined, file: string): unknown {
  if (text === undefined) throw new Error(`flows/${file} is missing: take it from the release this clinic runs`)
  const { yaml, problems } = read(file, text)
  if (yaml === undefined) throw new Error(`flows/${file} cannot be read: ${problems[0]?.found ?? 'unknown'}`)
  return yaml.value
}

/** Drawings of the shared flows, as SVG text, by id. */
export const drawingOf = drawingsIn(join(SHIPPED_FLOWS, 'shared', 'drawings'))
