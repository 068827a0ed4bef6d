/**
 * In which language a message is written: by its scripts, then by common words, each word a share of evidence.
 * Deterministic and total. It decides which lexicon reads and which wording answers, and nothing else.
 */
import { z } from 'zod'
import { boundedOf, plainOf } from './plain.ts'

const code = z.string().regex(/^[a-z]{2,3}$/, 'a language code of ISO 639: two or three small letters')

export const languagesFileSchema = z.strictObject({
  scripts: z
    .array(
      z.strictObject({
        script: z.string().min(1).describe('Name of a Unicode script.'),
        language: code,
        letters: z.record(code, z.string().min(1)).optional().describe('Letters that show another language.'),
      }),
    )
    .min(1),
  words: z.record(code, z.string().min(1)).describe('Common words, parted by spaces.'),
})

/** `other`: a language this line has no words in, by its code of ISO 639. Undefined: the words say none. */
export type MessageLanguage = 'en' | 'es' | { readonly other: string }

export interface Languages {
  readonly scripts: readonly {
    readonly isIn: RegExp
    readonly language: string
    readonly letters: readonly (readonly [language: string, isIn: RegExp])[]
  }[]
  /** Languages that list a word. */
  readonly words: ReadonlyMap<string, readonly string[]>
}

/** Checks and compiles flows/shared/languages.yaml. Throws `ZodError`, or `SyntaxError` for a script Unicode has not. */
export function languagesOf(file: unknown): Languages {
  const data = languagesFileSchema.parse(file)
  const words = new Map<string, string[]>()
  for (const [language, list] of Object.entries(data.words)) {
    for (const word of new Set(wordsOf(plainOf(list)))) words.set(word, [...(words.get(word) ?? []), language])
  }
  return {
    words,
    scripts: data.scripts.map(({ script, language, letters }) => ({
      isIn: new RegExp(`\\p{Script=${script}}`, 'u'),
      language,
      letters: Object.entries(letters ?? {}).map(([other, list]) => [other, new RegExp(`[${list}]`, 'u')] as const),
    })),
  }
}

const LATIN = /\p{Script=Latin}/u
/** Scripts written without spaces: so many letters are one word's worth of evidence. */
const LETTERS_A_WORD = 6
/** In a longer text of Latin letters one listed word tells nothing: "era" is Spanish, English and a name. */
const WORDS_TOLD_BY_ONE = 2
/** A tie goes to the language the line reads, English first. */
const READ_HERE = ['en', 'es'] as const

/**
 * The language with the most evidence; one that the line reads where it has as much as any other. A word that mixes
 * Latin with look-alike letters of another script counts as Latin.
 *
 * @example languageOf('se le salió el botón', tables) // => 'es'
 * @example languageOf('la sonde est sortie', tables) // => { other: 'fr' }
 */
export function languageOf(text: string, languages: Languages): MessageLanguage | undefined {
  const evidence = new Map<string, number>()
  const add = (language: string, share: number): void => {
    evidence.set(language, (evidence.get(language) ?? 0) + share)
  }
  const whole = boundedOf(text).toWellFormed().normalize('NFKC').toLowerCase()
  const scripts = languages.scripts.map(({ isIn, language, letters }) => ({
    isIn,
    // A telltale letter anywhere in the text speaks for every word of its script.
    language: letters.find(([, isTelltale]) => isTelltale.test(whole))?.[0] ?? language,
  }))
  const counts = countsOf(wordsOf(whole))
  /** Different words of Latin letters that any language lists. */
  let listed = 0
  for (const [word, times] of counts) {
    const script = LATIN.test(word) ? undefined : scripts.find(({ isIn }) => isIn.test(word))
    if (script === undefined) {
      const known = languages.words.get(plainOf(word)) ?? []
      if (known.length > 0) listed += 1
      for (const language of known) add(language, times / known.length)
    } else add(script.language, times * Math.max(1, word.length / LETTERS_A_WORD))
  }
  const isByScript = [...counts.keys()].some(word => !LATIN.test(word))
  if (listed === 1 && !isByScript && counts.size > WORDS_TOLD_BY_ONE) return undefined
  return mostOf(evidence)
}

function countsOf(words: readonly string[]): ReadonlyMap<string, number> {
  const counts = new Map<string, number>()
  for (const word of words) counts.set(word, (counts.get(word) ?? 0) + 1)
  return counts
}

const wordsOf = (text: string): readonly string[] => text.replace(/['’`´]/g, '').match(/\p{L}[\p{L}\p{M}]*/gu) ?? []

function mostOf(evidence: ReadonlyMap<string, number>): MessageLanguage | undefined {
  const most = Math.max(0, ...evidence.values())
  if (most === 0) return undefined
  const here = READ_HERE.find(language => (evidence.get(language) ?? 0) === most)
  if (here !== undefined) return here
  const [other] = [...evidence]
    .filter(([, share]) => share === most)
    .map(([language]) => language)
    .sort()
  return other === undefined ? undefined : { other }
}
