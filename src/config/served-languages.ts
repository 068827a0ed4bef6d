/** Which of the languages that a clinic lists can be served, and what is missing of each. */
import type { FlowFiles } from '../flow/load.ts'
import type { Problem } from '../flow/problem.ts'
import type { PlacedYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'

export interface ServedLanguages {
  /** Those families may use, the first the default; the first of the clinic's list is always among them. */
  readonly languages: readonly string[]
  /** Those that may lack nothing. */
  readonly strict: readonly string[]
  /** The files without words of languages that are served nowhere, or not in a flow that lacks some in them. */
  readonly files: FlowFiles
  readonly problems: readonly Problem[]
}

type Languages = Pick<Clinic, 'familyLanguages' | 'staffLanguage' | 'demonstration'>

/** Folders and files whose words a family needs whatever its concern is: `lexicon` has no text to miss. */
const BASICS = ['shared/wording', 'shared/wording.screen', 'shared/lexicon', 'someone/wording']

/**
 * A language is served when its shared words, its screens, its lexicon and the way to a person are there, and lack no text
 * that the first language has. What lacks is a problem. In a demonstration a language after the first may lack some: it is
 * then told as a warning, and the language is left out; or one concern has no questions in it, and its families get a person.
 */
export function servedLanguages(all: FlowFiles, clinic: Languages, yaml: PlacedYaml | undefined): ServedLanguages {
  const [first = ''] = clinic.familyLanguages
  const used = filesOf(all, new Set([...clinic.familyLanguages, clinic.staffLanguage]))
  const others = clinic.familyLanguages.filter(language => language !== first)
  const staff = [first, ...others].includes(clinic.staffLanguage) ? [] : [clinic.staffLanguage]
  const problems: Problem[] = []
  const place = yaml?.place(['clinic', 'family-languages']) ?? { line: 1, column: 1 }
  const tell = (found: string, expected: string, severity: Problem['severity']) =>
    problems.push({ code: 'LANGUAGE_MISSING', file: yaml?.file ?? 'clinic.yaml', ...place, found, expected, severity })
  /** Whether a file is there in the language with every text; what lacks is told. */
  const isWhole = (stem: string, language: string, severity: Problem['severity']): boolean => {
    const path = `${stem}.${language}.yaml`
    const text = used.get(path)
    if (text === undefined) {
      tell(`"${language}", and there is no flows/${path}`, `that file, or no "${language}" in the list`, severity)
      return false
    }
    const ids = idsIn(text)
    const lacking = stem.endsWith('lexicon')
      ? []
      : [...idsIn(used.get(`${stem}.${first}.yaml`) ?? '')].filter(id => !ids.has(id))
    const [one] = lacking
    if (one === undefined) return true
    const more = lacking.length === 1 ? '' : ` and ${lacking.length - 1} more`
    tell(`"${language}", and flows/${path} lacks "${one}"${more}`, `a line "${one}: …" there`, severity)
    return false
  }
  const dropped = new Set<string>()
  const languages = [first, ...others].filter(language => {
    const severity = clinic.demonstration && language !== first ? 'warning' : 'problem'
    const basics = BASICS.filter(stem => !isWhole(stem, language, severity))
    if (basics.length > 0 && language !== first) {
      dropped.add(language)
      return false
    }
    for (const flow of flowsIn(used)) {
      if (!isWhole(`${flow}/wording`, language, severity)) dropped.add(`${flow}/wording.${language}.yaml`)
    }
    return true
  })
  for (const language of staff) if (language !== '') isWhole('shared/wording', language, 'problem')
  const kept = new Set([...languages, clinic.staffLanguage])
  const files = new Map([...filesOf(used, kept)].filter(([path]) => !dropped.has(path) || languageOf(path) === first))
  const strict = clinic.demonstration ? [first] : clinic.familyLanguages
  return { languages, strict, files, problems: [...new Map(problems.map(one => [one.found, one])).values()] }
}

/** Ids of the texts in a wording file: its keys stand at the beginning of a line. */
const idsIn = (text: string): ReadonlySet<string> =>
  new Set([...text.matchAll(/^["']?([a-z0-9-]+(?:\/[a-z0-9-]+)*)["']?:/gm)].map(([, id = '']) => id))

const flowsIn = (files: FlowFiles): readonly string[] =>
  [...files.keys()].flatMap(path => /^([^/]+)\/flow\.yaml$/.exec(path)?.[1] ?? []).filter(flow => flow !== 'someone')

/** The language a file of words is in; undefined for any other file. */
const languageOf = (path: string): string | undefined =>
  /\/(?:wording(?:\.screen)?|lexicon)\.([a-z]{2}(?:-[A-Z]{2})?)\.yaml$/.exec(path)?.[1]

/** The files without words of other languages: nobody has to approve what nobody is shown. */
function filesOf(files: FlowFiles, languages: ReadonlySet<string>): FlowFiles {
  return new Map(
    [...files].filter(([path]) => {
      const language = languageOf(path)
      return language === undefined || languages.has(language)
    }),
  )
}
