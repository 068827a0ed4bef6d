/** What may not stand in one text, or in its length: the findings of the wording check, text by text. */
import type { LintRules, LintWords } from './lint-document.ts'
import { actFinder, type Forbidding, phraseFinder, spaced } from './lint-phrases.ts'
import { formsOf, patternOf, withoutQuotes } from './lint-text.ts'
import {
  type ReadingFormulaId,
  readingCounts,
  readingFormulas,
  sentencesOf,
  syllableCounter,
  wordsOf,
} from './reading.ts'

/** One finding about one text: the id under `findings` of lint.yaml, and what was met. */
export interface Finding {
  readonly finding: string
  readonly met: string
}

/** A text to look at. `beside` is what a reader has read just before: the question of an option. */
export interface LintText {
  readonly kind: string
  readonly text: string
  readonly beside?: string
}

/** How hard a text may be; a clinic's own grade in place of the shipped one. */
export interface ReadingLimits {
  /** For the English school grade. */
  readonly grade?: number
  /** Languages that families may use: in each nothing may be lacking. */
  readonly languages?: readonly string[]
}

/** What the hazard check and the lists of acts need of a language. */
export function forbiddingOf(words: LintWords): Forbidding {
  return {
    ...words.negations,
    breaks: words['clause-breaks'],
    conditions: words.conditions,
    requests: words.requests,
  }
}

/** The check of one language's texts: made once, asked for each. Findings of a text come each once. */
export function lineLint(
  rules: LintRules,
  words: LintWords,
  language: string,
  limits: ReadingLimits = {},
): (text: LintText) => Finding[] {
  const checks = [
    lengths(rules),
    grades(rules, words, language, limits),
    longWords(rules, words, language),
    acts(rules, words),
    questions(rules, words),
    units(words),
    colours(words),
    names(rules),
    lists(words),
  ]
  return ({ kind, text, beside }) => {
    const read = formsOf(text, words.samples)
    const bare = formsOf(text)
    const found = checks.flatMap(check => check({ kind, text, beside: beside ?? '', read, bare }))
    const wanted = found.filter(({ finding }) => rules.findings[finding]?.['not-in']?.includes(kind) !== true)
    return [...new Map(wanted.map(one => [`${one.finding} ${one.met}`, one])).values()]
  }
}

interface Read {
  readonly kind: string
  readonly text: string
  readonly beside: string
  /** Forms of the text with samples for its variables. */
  readonly read: readonly string[]
  /** Forms in which a variable is a word without a digit. */
  readonly bare: readonly string[]
}
type Check = (read: Read) => Finding[]

const worstOf = (findings: readonly (Finding & { readonly by: number })[]): Finding[] =>
  findings
    .toSorted((a, b) => b.by - a.by)
    .slice(0, 1)
    .map(({ finding, met }) => ({ finding, met }))

function lengths({ limits }: LintRules): Check {
  return ({ kind, read }) => {
    const sentences = [...new Set(read.flatMap(sentencesOf))]
    const long = sentences
      .map(sentence => ({ sentence, words: wordsOf(sentence).length }))
      .filter(({ words }) => words > limits['sentence-words'])
      .map(({ sentence, words }) => ({ finding: 'sentence-length', met: `${words} words: ${short(sentence)}` }))
    const means = read.map(form => wordsOf(form).length / Math.max(1, sentencesOf(form).length))
    const mean = Math.max(0, ...means)
    const most = limits['text-words'][kind]
    const whole = Math.max(0, ...read.map(form => wordsOf(form).length))
    return [
      ...long,
      ...(mean > limits['mean-words'] ? [{ finding: 'mean-length', met: `${mean.toFixed(1)} words a sentence` }] : []),
      ...(most !== undefined && whole > most
        ? [{ finding: 'text-length', met: `${whole} words, at most ${most}` }]
        : []),
    ]
  }
}

function grades(rules: LintRules, words: LintWords, language: string, limits: ReadingLimits): Check {
  const wanted = Object.entries(words.reading).map(([id, limit]) => {
    const own = id === 'flesch-kincaid' ? limits.grade : undefined
    return { id: id as ReadingFormulaId, most: own ?? limit.most, least: limit.least }
  })
  return ({ kind, read }) => {
    if (!rules.graded.includes(kind)) return []
    return wanted.flatMap(({ id, most, least }) =>
      worstOf(
        read.flatMap(form => {
          const counts = readingCounts(form, language, words.syllables)
          if (counts === undefined || counts.words < rules.limits['graded-words']) return []
          const score = readingFormulas[id].score(counts)
          const by = most === undefined ? (least ?? score) - score : score - most
          const bound = most === undefined ? `at least ${least}` : `at most ${most}`
          // Half of the last figure shown, so that what is told is also what is judged.
          return by > 0.05 ? [{ finding: 'reading-grade', met: `${id} ${score.toFixed(1)}, ${bound}`, by }] : []
        }),
      ),
    )
  }
}

/** Words too long to take in at night. A grade says nothing of a short text; this does. */
function longWords(rules: LintRules, words: LintWords, language: string): Check {
  const count = syllableCounter(language, words.syllables)
  const most = words['word-syllables']
  return ({ kind, bare }) => {
    if (count === undefined || !rules.graded.includes(kind)) return []
    return [...new Set(bare.flatMap(wordsOf))]
      .filter(word => !/^\d/.test(word) && count(word) > most)
      .map(word => ({ finding: 'long-word', met: `"${word}", ${count(word)} syllables, at most ${most}` }))
  }
}

function acts({ limits, 'tell-acts': kinds }: LintRules, words: LintWords): Check {
  const told = instructions(words)
  return ({ kind, bare }) => {
    if (!kinds.includes(kind)) return []
    return bare.flatMap(form => {
      const sentences = sentencesOf(withoutQuotes(form)).map(sentence => ({ sentence, verbs: told(sentence) }))
      const together = sentences
        .filter(({ verbs }) => verbs.length > limits['sentence-acts'] && !isOneAct(verbs, words['acts-as-one']))
        .map(({ verbs, sentence }) => ({ finding: 'acts-together', met: `${verbs.join(' + ')}: ${short(sentence)}` }))
      const many = sentences.filter(({ verbs }) => verbs.length > 0).length
      return many > limits['text-acts']
        ? [...together, { finding: 'acts-many', met: `${many} instructions, at most ${limits['text-acts']}` }]
        : together
    })
  }
}

/** The verbs that begin an instruction in a sentence, in order. */
export function instructions(words: LintWords): (sentence: string) => string[] {
  const ands = words.ands.map(word => `(?<![\\p{L}])${patternOf(word)}(?![\\p{L}])`).join('|')
  const cut = new RegExp(`[,;:–]|(?=${ands})`, 'iu')
  const verbs = new Set(words.verbs)
  const leads = words['lead-ins'].toSorted((a, b) => b.length - a.length)
  const withoutLeads = (text: string): string => {
    const lead = leads.find(one => text.startsWith(one) && !/^\p{L}/u.test(text.slice(one.length)))
    return lead === undefined ? text : withoutLeads(text.slice(lead.length).trim())
  }
  const joins = new RegExp(`^(?:${ands})`, 'iu')
  return sentence => {
    if (/\?\s*$/.test(sentence)) return []
    const found: string[] = []
    const begun = withoutLeads(sentence.trim().toLowerCase().replace(/’/g, "'"))
    for (const part of begun.split(cut)) {
      const [first = ''] = wordsOf(withoutLeads(part.trim()))
      // "We paged and go on paging": what is joined to no instruction is none.
      if (verbs.has(first) && (found.length > 0 || !joins.test(part.trim()))) found.push(first)
    }
    return found
  }
}

const isOneAct = (verbs: readonly string[], pairs: readonly (readonly string[])[]): boolean =>
  pairs.some(pair => verbs.every(verb => pair.includes(verb)))

function questions(rules: LintRules, words: LintWords): Check {
  const negation = phraseFinder(words['question-negations'])
  return ({ kind, read }) => {
    if (!rules.questions.includes(kind)) return []
    return read
      .flatMap(sentencesOf)
      .filter(sentence => sentence.endsWith('?'))
      .flatMap(sentence => {
        const found = negation(spaced(withoutQuotes(sentence)))
        return found === undefined ? [] : [{ finding: 'negated-question', met: `"${found}" in ${short(sentence)}` }]
      })
  }
}

/** A figure, and a second one after "to" or a dash. */
const FIGURE = /(?<![\p{L}\d.,:/-])\d+(?:[.,:/]\d+)*(?:\s?(?:–|-|to|a|y|and|or)\s?\d+(?:[.,:/]\d+)*)?/gu

function units(words: LintWords): Check {
  const units = new Set(words.units.map(unit => unit.toLowerCase()))
  const before = words['units-before'].map(word => word.toLowerCase())
  return ({ bare }) =>
    bare.flatMap(form =>
      [...form.matchAll(FIGURE)]
        .filter(({ 0: figure, index }) => {
          if (/\d[:]\d\d$/.test(figure)) return false
          const after = form
            .slice(index + figure.length)
            .trimStart()
            .toLowerCase()
          const unit = /^(?:[\p{L}°']+|%)/u.exec(after)?.[0] ?? ''
          const ahead = form.slice(0, index).trimEnd().toLowerCase()
          return !units.has(unit) && !before.some(word => ahead.endsWith(word))
        })
        .map(({ 0: figure }) => ({ finding: 'number-without-unit', met: `"${figure}"` })),
    )
}

function colours(words: LintWords): Check {
  const colour = phraseFinder(words.colours)
  const things = words['colour-of'].map(thing => new RegExp(`(?<![\\p{L}])${patternOf(thing)}`, 'iu'))
  return ({ read, beside }) =>
    read.flatMap(sentencesOf).flatMap(sentence => {
      const found = colour(spaced(sentence))
      const isOf = things.some(thing => thing.test(sentence) || thing.test(beside))
      return found === undefined || isOf ? [] : [{ finding: 'colour-alone', met: `"${found}" in ${short(sentence)}` }]
    })
}

function names({ 'names-of-child': variables }: LintRules): Check {
  return ({ kind, text }) =>
    kind === 'screen'
      ? []
      : variables
          .filter(variable => new RegExp(`\\{\\s*${patternOf(variable)}\\s*[,}]`).test(text))
          .map(variable => ({ finding: 'names-child', met: `{${variable}}` }))
}

function lists(words: LintWords): Check {
  const plain = phraseFinder(Object.keys(words['plain-words']))
  const barred = Object.entries(words.barred).map(([finding, one]) => ({
    finding,
    phrase: phraseFinder(one.phrases ?? []),
    act: actFinder(one.acts ?? [], forbiddingOf(words)),
    unless: phraseFinder(one.unless ?? []),
  }))
  return ({ read }) =>
    read.flatMap(sentencesOf).flatMap(sentence => {
      const text = spaced(sentence)
      const stiff = plain(text)
      const instead = stiff === undefined ? undefined : words['plain-words'][stiff]
      return [
        ...(stiff === undefined ? [] : [{ finding: 'stiff-words', met: `"${stiff}", plain: "${instead ?? ''}"` }]),
        ...barred.flatMap(({ finding, phrase, act, unless }) => {
          const found = phrase(text) ?? act(sentence)[0]
          return found === undefined || unless(text) !== undefined
            ? []
            : [{ finding, met: `"${found}" in ${short(sentence)}` }]
        }),
      ]
    })
}

const short = (sentence: string): string => `"${sentence.length > 70 ? `${sentence.slice(0, 67)}…` : sentence}"`
