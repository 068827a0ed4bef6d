/** Which of the languages that a clinic lists can be served, and what is missing of each. */
import type { FlowFiles } from '../flow/load.ts'
import type { Problem } from '../flow/problem.ts'
import type { PlacedYaml } from '../flow/yaml-places.ts'
import type { Clinic } from '../oncall/clinic.ts'

export interface ServedLanguages {
  /** Those families may use, the first the default; the first of the clinic's list is always among them. */
  readonly languages: readonly string[]
  readonly problems: readonly Problem[]
}

/** What a family needs in its language whatever its concern is. */
const basics = (language: string): readonly string[] => [
  `shared/wording.${language}.yaml`,
  `shared/wording.screen.${language}.yaml`,
  `shared/lexicon.${language}.yaml`,
  `someone/wording.${language}.yaml`,
]

/**
 * A language is served when its shared words, its screens, its lexicon and the way to a person are there. What lacks is a
 * problem. In a demonstration a language after the first may lack some: it is then told as a warning, the language is left
 * out, or a concern has no questions in it and its families get a person.
 */
export function servedLanguages(
  files: FlowFiles,
  flows: Iterable<string>,
  clinic: Pick<Clinic, 'familyLanguages' | 'staffLanguage' | 'demonstration'>,
  yaml: PlacedYaml | undefined,
): ServedLanguages {
  const problems: Problem[] = []
  const place = yaml?.place(['clinic', 'family-languages']) ?? { line: 1, column: 1 }
  const lacking = (language: string, path: string, severity: Problem['severity']) =>
    problems.push({
      code: 'LANGUAGE_MISSING',
      file: yaml?.file ?? 'clinic.yaml',
      ...place,
      found: `"${language}", and there is no flows/${path}`,
      expected: `that file with every text of the same file in another language, or no "${language}" in the list`,
      severity,
    })
  const [first] = clinic.familyLanguages
  const languages = clinic.familyLanguages.filter(language => {
    const severity = clinic.demonstration && language !== first ? 'warning' : 'problem'
    const missing = basics(language).filter(path => !files.has(path))
    for (const path of missing) lacking(language, path, severity)
    if (missing.length > 0) return language === first
    for (const flow of flows) {
      const path = `${flow}/wording.${language}.yaml`
      if (!files.has(path)) lacking(language, path, severity)
    }
    return true
  })
  const staff = `shared/wording.${clinic.staffLanguage}.yaml`
  if (clinic.staffLanguage !== '' && !clinic.familyLanguages.includes(clinic.staffLanguage) && !files.has(staff))
    lacking(clinic.staffLanguage, staff, 'problem')
  return { languages, problems }
}

/** The files without words of languages that this clinic uses nowhere: nobody has to approve what nobody is shown. */
export function filesInUse(files: FlowFiles, clinic: Pick<Clinic, 'familyLanguages' | 'staffLanguage'>): FlowFiles {
  const used = new Set([...clinic.familyLanguages, clinic.staffLanguage])
  return new Map(
    [...files].filter(([path]) => {
      const language = /\/(?:wording(?:\.screen)?|lexicon)\.([a-z]{2}(?:-[A-Z]{2})?)\.yaml$/.exec(path)?.[1]
      return language === undefined || used.has(language)
    }),
  )
}
