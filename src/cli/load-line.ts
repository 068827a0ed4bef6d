import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import type { Line } from '../case/line.ts'
import { drawingsIn } from '../channels/webchat/drawing.ts'
import { type LoadedClinic, loadClinic } from '../config/clinic-file.ts'
import { type ServedLanguages, servedLanguages } from '../config/served-languages.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import type { Silenced } from '../flow/lint-exceptions.ts'
import { type FlowFiles, loadFlows } from '../flow/load.ts'
import type { Problem } from '../flow/problem.ts'
import { type Catalogue, catalogueOf } from '../flow/wording.ts'
import type { YamlReader } from '../flow/yaml-places.ts'
import { sha256 } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'
import { type Languages, languagesOf } from '../understand/language.ts'
import { type Lexicon, lexiconOf } from '../understand/lexicon.ts'
import type { Again } from './again.ts'
import { type Approvable, approvablesOf, decidingSettings } from './approvable.ts'
import { readFlowFiles, SHIPPED_FLOWS } from './flow-files.ts'
import { ownReadings } from './kept-readings.ts'

/** The invented clinic that ships with the bot. */
export const DEMO_CLINIC = fileURLToPath(new URL('../../deploy/demo-clinic', import.meta.url))

export interface LoadedLine {
  readonly line: Line
  readonly pagers: LoadedClinic['pagers']
  readonly signIn?: NonNullable<LoadedClinic['signIn']>
  readonly photos?: NonNullable<LoadedClinic['photos']>
  readonly store?: NonNullable<LoadedClinic['store']>
  readonly telegram?: NonNullable<LoadedClinic['telegram']>
  readonly retention: LoadedClinic['retention']
  readonly calendars: LoadedClinic['calendars']
  /** Of the first language families use; `lexicons` has each by language. */
  readonly lexicon: Lexicon
  /** Tells which language a message is written in. */
  readonly languages: Languages
  readonly lexicons: ReadonlyMap<string, Lexicon>
  /** Words of the screens by language, the clinic's own language among them. */
  readonly screens: ReadonlyMap<string, Catalogue>
  /** Texts of the files it was read from; left out for a line that was put together by hand. */
  readonly files?: FlowFiles
}

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
 * Flows that were read and looked through before are not again: see `KeptReadings`. With `again`, what stands in memory is
 * used where its files are the same: a changed number or shift then costs a running bot some milliseconds and not seconds.
 */
export function loadLine(options: {
  clinicDir: string
  flowsDir?: string
  at: Instant
  again?: Again | undefined
}): ReadLine {
  const kept = ownReadings()
  const again: Again = options.again ?? ((_what, _about, make) => make())
  const { read } = kept
  const clinicDir = options.clinicDir
  const shipped = options.flowsDir ?? SHIPPED_FLOWS
  const clinic = loadClinic(clinicDir, options.at)
  const all = readFlowFiles(shipped, join(clinicDir, 'flows'))
  const { files, languages, strict, problems: lacking } = languagesIn(all, clinic)
  const limits = { grade: clinic.settings['reading-grade'], languages: strict }
  const { staffLanguage, familyLanguages } = clinic.asRead ?? {}
  const written = [sha256(JSON.stringify([[...all], limits, languages, staffLanguage, familyLanguages]))]
  const flows = again('flows', written, () =>
    loadFlows(files, read, limits, look => kept.findings([...files, limits], look)),
  )
  const { silenced } = flows
  const problems = [...clinic.problems, ...flows.problems, ...lacking]
  if (flows.set === undefined) return { problems, silenced, clinic, approvables: [] }
  const shared = (name: string) => readPlain(read, files.get(`shared/${name}`), `shared/${name}`)
  // Danger is heard in every language of the list, also where nothing can be said in it yet.
  const heard = new Set([...languages, ...(familyLanguages ?? [])].filter(each => all.has(lexiconFile(each))))
  const lexicons = again(
    'lexicons',
    written,
    () => new Map([...heard].map(each => [each, readPlain(read, all.get(lexiconFile(each)), lexiconFile(each))])),
  )
  const screens = again('screens', written, () =>
    screensIn(languages, clinic, name => files.has(`shared/${name}`), shared),
  )
  const foreign = again('foreign', written, () => shared('wording.other.yaml') as Record<string, string>)
  const { settings } = clinic
  kept.keep()
  const set = flows.set
  const approvables = again('approvables', [written, decidingSettings(set).map(id => settings[id])], () =>
    approvablesOf({ flows: set, settings, screens, lexicons, foreign, drawing: drawingOf }),
  )
  const readable = { problems, silenced, clinic, flows: flows.set, approvables }
  const [language] = languages
  const isHeld = problems.some(({ code, severity }) => code === 'LANGUAGE_MISSING' && severity === 'problem')
  if (clinic.clinic === undefined || language === undefined || isHeld) return readable
  const hashes = new Map(approvables.map(({ id, hash }) => [id, hash]))
  const compiled = again(
    'compiled lexicons',
    written,
    () => new Map([...lexicons].map(([each, text]) => [each, lexiconOf(text)])),
  )
  const lexicon = compiled.get(language)
  if (lexicon === undefined) return readable
  return {
    ...readable,
    loaded: {
      line: {
        flows: flows.set,
        clinic: clinic.clinic,
        settings,
        language,
        languages,
        foreign: new Map(Object.entries(foreign).map(([code, say]) => [code, catalogueOf(code, { say })])),
        hashes,
        mostUrgentFirst: lexicon.concerns.map(({ id }) => id),
      },
      pagers: clinic.pagers,
      ...(clinic.signIn === undefined ? {} : { signIn: clinic.signIn }),
      ...(clinic.photos === undefined ? {} : { photos: clinic.photos }),
      ...(clinic.store === undefined ? {} : { store: clinic.store }),
      ...(clinic.telegram === undefined ? {} : { telegram: clinic.telegram }),
      retention: clinic.retention,
      calendars: clinic.calendars,
      languages: again('languages', written, () => languagesOf(shared('languages.yaml'))),
      lexicon,
      lexicons: compiled,
      screens,
      files,
    },
  }
}

/** The languages of the clinic's list that its flows are worded in; where the list cannot be read, English. */
function languagesIn(files: FlowFiles, { asRead, yaml }: LoadedClinic): ServedLanguages {
  if (asRead === undefined || asRead.familyLanguages.length === 0)
    return { languages: ['en'], strict: ['en'], files, problems: [] }
  return servedLanguages(files, asRead, yaml)
}

/** Screen words of each language families use, and of the clinic's own where they are written. */
function screensIn(
  languages: readonly string[],
  { asRead }: LoadedClinic,
  has: (name: string) => boolean,
  shared: (name: string) => unknown,
): ReadonlyMap<string, Catalogue> {
  const file = (language: string) => `wording.screen.${language}.yaml`
  const staff = asRead?.staffLanguage ?? ''
  const all = new Set([...languages, ...(has(file(staff)) ? [staff] : [])])
  return new Map([...all].map(each => [each, catalogueOf(each, shared(file(each)) as Record<string, string>)] as const))
}

const lexiconFile = (language: string): string => `shared/lexicon.${language}.yaml`

function readPlain(read: YamlReader, text: string | undefined, file: string): unknown {
  if (text === undefined) throw new Error(`flows/${file} is missing: take it from the release this clinic runs`)
  const { yaml, problems } = read(file, text)
  if (yaml === undefined) throw new Error(`flows/${file} cannot be read: ${problems[0]?.found ?? 'unknown'}`)
  return yaml.value
}

/** Drawings of the shared flows, as SVG text, by id. */
export const drawingOf = drawingsIn(join(SHIPPED_FLOWS, 'shared', 'drawings'))
