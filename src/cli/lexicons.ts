import type { FlowFiles } from '../flow/load.ts'
import { readYaml } from '../flow/yaml-places.ts'
import { type Lexicon, lexiconOf } from '../understand/lexicon.ts'

const LEXICON_FILE = /^shared\/lexicon\.([a-z]{2})\.yaml$/

/** Every lexicon among the files of the flows, by language. Throws, naming the file, where one cannot be read. */
export function lexiconsAmong(files: FlowFiles): ReadonlyMap<string, Lexicon> {
  const lexicons = new Map<string, Lexicon>()
  for (const [path, text] of files) {
    const language = LEXICON_FILE.exec(path)?.[1]
    if (language !== undefined) lexicons.set(language, lexiconFrom(path, text, language))
  }
  return lexicons
}

function lexiconFrom(path: string, text: string, language: string): Lexicon {
  try {
    const { yaml, problems } = readYaml(path, text)
    if (yaml === undefined) throw new Error(problems[0]?.found ?? 'no YAML')
    const lexicon = lexiconOf(yaml.value)
    if (lexicon.language !== language)
      throw new Error(`it says language "${lexicon.language}" where "${language}" was expected`)
    return lexicon
  } catch (cause) {
    throw new Error(`flows/${path}: ${cause instanceof Error ? cause.message : String(cause)}`, { cause })
  }
}
