/** How hard a text is to read: words, sentences, syllables, and the published formulas over them. */
import { englishSyllables, type SyllableCount, spanishSyllables } from './reading-syllables.ts'

/** What the formulas are worked out from. Numbers in digits are no words here: nobody spells them out the same way. */
export interface ReadingCounts {
  readonly words: number
  readonly sentences: number
  readonly syllables: number
}

/** A formula, and the way it runs: a grade rises with difficulty, an ease falls. */
export interface ReadingFormula {
  readonly language: string
  readonly rises: boolean
  readonly score: (counts: ReadingCounts) => number
}

export const READING_FORMULAS = ['flesch-kincaid', 'szigriszt-pazos', 'crawford'] as const
export type ReadingFormulaId = (typeof READING_FORMULAS)[number]

/** The formulas by name. Each takes counts with at least one word and one sentence. */
export const readingFormulas: Readonly<Record<ReadingFormulaId, ReadingFormula>> = {
  /**
   * English school grade: 0.39 × words a sentence + 11.8 × syllables a word − 15.59 (Kincaid, Fishburne, Rogers, Chissom;
   * Derivation of new readability formulas for Navy enlisted personnel; Research Branch Report 8-75; 1975; from memory).
   */
  'flesch-kincaid': {
    language: 'en',
    rises: true,
    score: ({ words, sentences, syllables }) => 0.39 * (words / sentences) + 11.8 * (syllables / words) - 15.59,
  },
  /**
   * Spanish ease: 206.835 − 62.3 × syllables a word − words a sentence; 66 to 75 is "fairly easy", for about age 12 (Szigriszt
   * Pazos, Sistemas predictivos de legibilidad del mensaje escrito, doctoral thesis, Madrid 1993; read in a web page about it).
   */
  'szigriszt-pazos': {
    language: 'es',
    rises: false,
    score: ({ words, sentences, syllables }) => 206.835 - 62.3 * (syllables / words) - words / sentences,
  },
  /**
   * Years of schooling for Spanish: −0.205 × sentences in 100 words + 0.049 × syllables in 100 words − 3.407 (Crawford,
   * Fórmula y gráfico para determinar la comprensibilidad de textos de nivel primario en castellano, 1989; the formula was
   * read in a reference library's source).
   */
  crawford: {
    language: 'es',
    rises: true,
    score: ({ words, sentences, syllables }) =>
      (-0.205 * 100 * sentences) / words + (0.049 * 100 * syllables) / words - 3.407,
  },
}

const SYLLABLES: Readonly<Record<string, SyllableCount>> = { en: englishSyllables, es: spanishSyllables }

const WORD = /[\p{L}\p{M}]+(?:['’-][\p{L}\p{M}]+)*|\d+(?:[.,:]\d+)*/gu

/** Words of a text, numbers in digits among them. */
export function wordsOf(text: string): string[] {
  return text.match(WORD) ?? []
}

/** Where a sentence ends: its mark, with quotes or brackets after it, before a space; a line break; a colon before a quote. */
const SENTENCE_END = /(?<=[.!?…]["”’»)]*)\s+|\n+|(?<=:)\s+(?=["“«])/u

/** Sentences of a text that have a word in them. "2:45 am. Ring" is two, "2:45 a.m. ring" is one. */
export function sentencesOf(text: string): string[] {
  return text
    .split(SENTENCE_END)
    .reduce<string[]>((sentences, piece) => {
      const goesOn = /^\p{Ll}/u.test(piece) && /\b\p{L}\.$/u.test(sentences.at(-1) ?? '')
      if (goesOn) sentences.push(`${sentences.pop()} ${piece}`)
      else sentences.push(piece)
      return sentences
    }, [])
    .map(sentence => sentence.trim())
    .filter(sentence => wordsOf(sentence).length > 0)
}

/**
 * Counts of a text. Undefined where no word is written in letters, or the language's syllables cannot be counted.
 *
 * @param known  syllables of words whose spelling misleads, in lower case
 */
export function readingCounts(
  text: string,
  language: string,
  known: Readonly<Record<string, number>> = {},
): ReadingCounts | undefined {
  const count = syllableCounter(language, known)
  const words = wordsOf(text).filter(word => !/^\d/.test(word))
  if (count === undefined || words.length === 0) return undefined
  return {
    words: words.length,
    sentences: sentencesOf(text).length,
    syllables: words.reduce((sum, word) => sum + count(word), 0),
  }
}

/** Counts syllables of words in a language; undefined for one that is not known. `known` wins over the rules. */
export function syllableCounter(
  language: string,
  known: Readonly<Record<string, number>> = {},
): SyllableCount | undefined {
  const syllablesOf = SYLLABLES[language.slice(0, 2)]
  return syllablesOf === undefined ? undefined : word => known[word.toLowerCase()] ?? syllablesOf(word)
}
