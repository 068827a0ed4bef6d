import { syllable } from 'syllable'
import { describe, expect, it } from 'vitest'
import { formsOf } from '../../src/flow/lint-text.ts'
import { readingCounts, readingFormulas, sentencesOf, syllableCounter, wordsOf } from '../../src/flow/reading.ts'
import { englishSyllables, spanishSyllables } from '../../src/flow/reading-syllables.ts'
import { shippedFlows } from '../support/a-line.ts'

const gradeOf = (text: string) => {
  const counts = readingCounts(text, 'en')
  if (counts === undefined) throw new Error(`nothing to count in ${text}`)
  return readingFormulas['flesch-kincaid'].score(counts)
}

describe('the formulas', () => {
  // Five words, seven syllables, one sentence. The three values are those of the tests of textstat, a general-purpose library for
  // measures of texts (tests/backend/metrics, read in its repository).
  const counts = { words: 5, sentences: 1, syllables: 7 }

  it('agree with a reference library on one sentence', () => {
    expect(readingCounts('Cool dogs wear da sunglasses.', 'en')).toEqual(counts)
    expect(readingFormulas['flesch-kincaid'].score(counts)).toBeCloseTo(2.88, 3)
    expect(readingFormulas['szigriszt-pazos'].score(counts)).toBeCloseTo(114.615, 3)
    expect(readingFormulas.crawford.score(counts)).toBeCloseTo(-0.647, 3)
  })

  it('agree with a reference library on a long Spanish text', () => {
    // Ease 41.45 and Crawford 6.1 in textstat's tests (test_szigriszt_pazos, test_crawford; read in its repository), for a text
    // that has 148 words and 4 sentences as it stands there; of syllables both values leave only 305.
    const long = { words: 148, sentences: 4, syllables: 305 }
    expect(readingFormulas['szigriszt-pazos'].score(long)).toBeCloseTo(41.45, 2)
    expect(readingFormulas.crawford.score(long)).toBeCloseTo(6.1, 1)
    // Bands of the ease: "bastante difícil" 36 to 50, "bastante fácil" 66 to 75 (Szigriszt Pazos 1993, as two web pages quote it).
    expect(readingFormulas['szigriszt-pazos'].score(long)).toBeLessThan(50)
  })

  it('agree with worked examples of Flesch–Kincaid', () => {
    // Both of an encyclopedia's article on the Flesch–Kincaid readability tests; from memory. The second has 13 words, 24
    // syllables, grade 11.3 there. By spelling "Australian" and "reptilian" count one syllable more each, which errs towards harder.
    expect(gradeOf('The cat sat on the mat.')).toBeCloseTo(-1.45, 2)
    expect(readingFormulas['flesch-kincaid'].score({ words: 13, sentences: 1, syllables: 24 })).toBeCloseTo(11.3, 1)
    const platypus = 'The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.'
    expect(readingCounts(platypus, 'en')).toEqual({ words: 13, sentences: 1, syllables: 26 })
  })

  it('hold a Spanish text of the same counts to be harder the more syllables it has', () => {
    const more = { ...counts, syllables: 9 }
    expect(readingFormulas['szigriszt-pazos'].score(more)).toBeLessThan(
      readingFormulas['szigriszt-pazos'].score(counts),
    )
    expect(readingFormulas.crawford.score(more)).toBeGreaterThan(readingFormulas.crawford.score(counts))
  })
})

describe('English syllables', () => {
  // Counted as a dictionary divides and speaks them; from memory.
  it.each([
    ['tube', 1],
    ['tubes', 1],
    ['the', 1],
    ['eyes', 1],
    ['breathe', 1],
    ['don’t', 1],
    ['checked', 1],
    ['clothes', 1],
    ['opening', 3],
    ['bottle', 2],
    ['needed', 2],
    ['boxes', 2],
    ['pages', 2],
    ['quiet', 2],
    ['being', 2],
    ['trying', 2],
    ['fluid', 2],
    ['didn’t', 2],
    ['careful', 2],
    ['something', 2],
    ['settled', 2],
    ['beyond', 2],
    ['people', 2],
    ['fatigue', 2],
    ['hospital', 3],
    ['medicine', 3],
    ['clinician', 3],
    ['insulin', 3],
    ['idea', 3],
    ['video', 3],
    ['previous', 3],
    ['usual', 3],
    ['emergency', 4],
    ['gastrostomy', 4],
    ['reality', 4],
    ['nurse’s', 2],
  ] as const)('of "%s" are %d', (word, count) => {
    const known = { eyes: 1 }
    expect(syllableCounter('en', known)?.(word.replace('’', "'"))).toBe(count)
  })

  it('agree with the package syllable, a second opinion, on more than 97 in 100 of the shipped words', () => {
    const wording = [shippedFlows, ...shippedFlows.flows.values()].flatMap(({ wording }) => wording.get('en') ?? [])
    const words = new Set(
      wording
        .flatMap(one => [...one.ids].flatMap(id => formsOf(one.source(id) ?? '')))
        .flatMap(wordsOf)
        .filter(word => !/\d/.test(word))
        .map(word => word.toLowerCase()),
    )
    const apart = [...words].filter(word => englishSyllables(word) !== syllable(word))
    expect(words.size).toBeGreaterThan(500)
    expect(apart.length / words.size, apart.join(', ')).toBeLessThan(0.03)
    const far = apart.filter(word => Math.abs(englishSyllables(word) - syllable(word)) > 1)
    expect(far).toEqual([])
  })
})

describe('Spanish syllables', () => {
  // Real Academia Española, Ortografía de la lengua española (2010), on diphthong, triphthong and hiatus; from memory.
  it.each([
    ['muy', 1],
    ['y', 1],
    ['buey', 1],
    ['rey', 1],
    ['yo', 1],
    ['huir', 1],
    ['reyes', 2],
    ['ciudad', 2],
    ['hueso', 2],
    ['quiero', 2],
    ['día', 2],
    ['país', 2],
    ['ahí', 2],
    ['baúl', 2],
    ['aún', 2],
    ['búho', 2],
    ['leer', 2],
    ['rehén', 2],
    ['prohibir', 2],
    ['guitarra', 3],
    ['pingüino', 3],
    ['Paraguay', 3],
    ['ahora', 3],
    ['héroe', 3],
    ['poeta', 3],
    ['vacío', 3],
    ['cigüeña', 3],
    ['murciélago', 4],
    ['aéreo', 4],
    ['averiguáis', 4],
    ['abertura', 4],
  ] as const)('of "%s" are %d', (word, count) => expect(spanishSyllables(word)).toBe(count))
})

describe('sentences and words', () => {
  it.each([
    ['It is 2:45 am. Ring 911. Ring now!', 3],
    ['Worse? Ring 911.', 2],
    ['It is 2:45 a.m. and late.', 1],
    ['Say: "My tube is out. It can close."', 3],
    ['One line\nand the next', 2],
    ['¿Empeora? Llame al 911.', 2],
    ['Put 4.5 mL in.', 1],
    ['...', 0],
  ] as const)('of "%s": %d sentences', (text, count) => expect(sentencesOf(text)).toHaveLength(count))

  it('count "child\'s" and "one-time" as one word each, and a clock time as one', () => {
    expect(wordsOf("Your child's one-time code at 2:45 am.")).toHaveLength(7)
  })

  it('leave a text of figures alone without a grade', () => {
    expect(readingCounts('911', 'en')).toBeUndefined()
    expect(readingCounts('Worte', 'de')).toBeUndefined()
  })
})
