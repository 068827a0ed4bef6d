import { syllable } from 'syllable'

const segments = (granularity: 'sentence' | 'word') => new Intl.Segmenter('en', { granularity })
const sentenceSegmenter = segments('sentence')
const wordSegmenter = segments('word')

/** Sentences of a text; a line break or a colon before a quotation begins another. */
export function sentencesOf(text: string): string[] {
  return text
    .split(/\n+|:\s+(?=["“])/)
    .flatMap(line => [...sentenceSegmenter.segment(line)].map(({ segment }) => segment.trim()))
    .filter(sentence => wordsOf(sentence).length > 0)
}

export function wordsOf(text: string): string[] {
  return [...wordSegmenter.segment(text)].filter(({ isWordLike }) => isWordLike === true).map(({ segment }) => segment)
}

/**
 * Flesch–Kincaid grade: 0.39 × words per sentence + 11.8 × syllables per word − 15.59 (Kincaid, Fishburne, Rogers and
 * Chissom; Derivation of new readability formulas for Navy enlisted personnel; Research Branch Report 8-75; 1975; the
 * formula is from memory, and held against a worked text in the test). Syllables by the package `syllable`.
 */
export function gradeOf(text: string): number {
  const sentences = sentencesOf(text).length
  const words = wordsOf(text).filter(word => !/^\d+$/.test(word))
  const syllables = words.reduce((sum, word) => sum + syllable(word), 0)
  return 0.39 * (words.length / sentences) + 11.8 * (syllables / words.length) - 15.59
}
