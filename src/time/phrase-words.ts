/** Caregivers' time words, made plain: small letters, known signs, hedges as one mark. English; the marks are for any language. */

/** Longer texts are no answer to "when"; they are asked about. */
export const CHARACTERS_AT_MOST = 160

/** Stands for "about" and every other word that says a time is a guess. */
export const HEDGE = '~'
/** Stands for "no, actually" and its like: what comes after corrects what went before. */
export const RATHER = '>'
/** Stands for "I last saw it in". */
export const SEEN = '§s'
/** Stands for "I found it out". */
export const FOUND = '§f'
/** Stands for "during the feed". */
export const FEED = '§m'

export const INVISIBLE = /\p{Cf}|\p{Variation_Selector}/gu
export const CONTROLS = /\p{Cc}/gu
/** Pictures say no time, but clock faces do: those stay and make the text unreadable. */
export const PICTURES = /(?![\u{1f550}-\u{1f567}])\p{Extended_Pictographic}|\p{Emoji_Modifier}/gu

/** Each is applied in this order to the whole text. */
const SIGNS: readonly (readonly [RegExp, string])[] = [
  [/(\d)\s*½/g, '$1.5'],
  [/(\d)\s*¼/g, '$1.25'],
  [/(\d)\s*¾/g, '$1.75'],
  [/½/g, ' half '],
  [/¼/g, ' quarter '],
  [/¾/g, ' three quarters '],
]

const SPELLINGS: readonly (readonly [RegExp, string])[] = [
  [/[’‘ʼ`´']/g, ''],
  [/[‐‑‒–—―−]/g, '-'],
  [/(\d) 1\/2(?=\s*h)/g, '$1.5'],
  [/(?<![\d/])1\/2(?=\s*(?:an?\s*)?h)/g, 'half'],
  [/(?<![\d,])(\d{1,2}),5(?=\s*(?:h|stunden|years?|months?|weeks?))/g, '$1.5'],
  [/\b(half|quarter)-(?=[a-z])/g, '$1 '],
  [/\b([ap])\.\s?m\b\.?/g, '$1m'],
  [/(\d)\s*([ap])\b(?!\s+(?:couple|few|bit|little|quarter|half))/g, '$1 $2m'],
  [/\b(twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety)-(?=[a-z])/g, '$1 '],
  [/(\d+(?:[:.]\d+)?)\s*-?ish\b/g, 'about $1'],
  [/\b(one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|past|midnight)-?ish\b/g, '$1 ish'],
  [/[~≈]/g, ' about '],
  [/(\d)([a-z])/g, '$1 $2'],
  [/([a-z])(\d)/g, '$1 $2'],
]

/** Applied to the words joined by single spaces, in order; more specific first. */
const PHRASES: readonly (readonly [RegExp, string])[] = [
  [
    /\b(?:mid|(?:in )?(?:the )?middle of|during|while|since|after|when|with)(?: the| his| her| their| he| she| was| were| a)*(?: night| overnight| last| evening| morning)*(?: feed| feeding| feeds)(?: started| began| was running| was on| ran| was going)?(?! \S* ?\d)/g,
    FEED,
  ],
  [
    /\b(?:last|latest) (?:saw|seen|checked|remember|time)(?: it| the tube| the button| i| saw| her| him| with| having| was| being| still| definitely| properly)*(?: in place| in| there| fine| ok| okay)?(?= )/g,
    SEEN,
  ],
  [
    /\b(?:it )?(?:was|were|still|definitely) (?:still |definitely )*(?:in place|in|there|fine|ok|okay|alright) (?=at |around |about |half |\d|when )/g,
    `${SEEN} `,
  ],
  [/^(?:still )?in (?=at |around |about )/g, `${SEEN} `],
  [/\b(?:i |we )?(?:last )?fed(?: him| her| them)? (?=at |around |about )/g, `${SEEN} `],
  [
    /\b(?:found|noticed|spotted|discovered|realised|realized|saw)(?: that)?(?: it| the tube| the button| him| her| was| had| come| came| fallen)*(?: out| missing| gone)*(?= |$)/g,
    FOUND,
  ],
  // It was out by then, and nobody knows since when.
  [
    /\b(?:and |then |but )*(?:(?:was|were) (?:already |fully |completely |right |all )*|already )out (?=at |by |around |about |when |half |quarter |midnight|\d)/g,
    `${FOUND} `,
  ],
  [/(?<=§s.*) (?:and |then |but )*out (?=at |by |around |about )/g, ` ${FOUND} `],
  [/\b(?:no|not) (?:more|longer) than\b/g, 'under'],
  [/\bjust (?:came|come|fell|fallen|popped|slipped|pulled|happened|gone)(?: it| out| off| away| now)*$/g, 'just now'],
  [/\b(?:more like(?:ly)?|closer to|nearer to?)\b/g, `${RATHER} ${HEDGE}`],
  [/\b(?:i mean|or rather|scratch that|no wait|actually|sorry|correction|rather|instead|no)\b/g, RATHER],
  [
    /\b(?:or so|or thereabouts|more or less|give or take|or something|ish|im not sure exactly|not sure exactly|not exactly)\b/g,
    HEDGE,
  ],
  [/\b(?:somewhere |some ?time |anywhere )(?=between|after|around|about|at|in)/g, ''],
  [
    /\b(?:about|around|approximately|approx|roughly|circa|some|maybe|probably|perhaps|possibly|think|guess|reckon|suppose|abouts|say|like)\b/g,
    HEDGE,
  ],
  [/\bo clock\b/g, 'oclock'],
  [/\bday before yesterday\b/g, 'ereyesterday'],
  [
    /\b(?:just happened|just this minute|this minute|right now|this second|a moment ago|moments ago|a second ago|(?<!\S )seconds ago)\b/g,
    'just now',
  ],
  [/\bjust (?!now|over|under|before|after|gone|past|a bit|a little)/g, ''],
]

const NOISE = new Set(
  (
    'i id im ive well um uh er erm hmm ok okay hi hello yes yeah yep please so it its was were is has have had been be being must could might would ' +
    'the his her hers he she they their them we our my me him that there only exactly precisely definitely already ' +
    'time of-day clock local'
  ).split(' '),
)

/** What a caregiver may say happened; carries no time. */
const EVENTS: Readonly<Record<'moment' | 'date' | 'duration', ReadonlySet<string>>> = {
  moment: new Set(
    (
      'tube button peg gtube catheter balloon out come came comes coming fell fallen fall popped pop pulled pull slipped slid dislodged happened ' +
      'yanked knocked fed feed feeding feeds bottle milk meal ate eaten drank finished ended stopped started began wet nappy diaper pad wee weed pee peed urine ' +
      'passed urinated changed baby child son daughter kid'
    ).split(' '),
  ),
  date: new Set(
    (
      'tube button peg gtube gastrostomy first placed put placement fitted inserted insertion operation op surgery surgically made done in-place got ' +
      'baby child son daughter kid back'
    ).split(' '),
  ),
  duration: new Set(
    'old age aged takes take drive driving drives away car taxi bus by travel journey trip ride road walk hospital from here home us get far long hospitals about-it'.split(
      ' ',
    ),
  ),
}

/**
 * The words of a text, ready for the grammar; undefined when there is nothing to read or far too much. Signs that are not
 * known stay words of their own, so that no grammar matches them.
 */
export function wordsOf(text: string, question: 'moment' | 'date' | 'duration'): readonly string[] | undefined {
  if (text.length > CHARACTERS_AT_MOST) return undefined
  let plain = text.replace(INVISIBLE, '').replace(CONTROLS, ' ').replace(PICTURES, ' ')
  for (const [sign, meant] of SIGNS) plain = plain.replace(sign, meant)
  plain = latinDigits(plain.normalize('NFKC')).toLowerCase()
  for (const [spelling, meant] of SPELLINGS) plain = plain.replace(spelling, meant)
  const split = plain.match(/\d+(?:[.:,]\d+)*|\p{L}[\p{L}\p{M}]*|[^\s\d\p{L},;!?()".…]/gu) ?? []
  let joined = split.join(' ')
  if (question === 'duration')
    joined = joined.replace(
      /\b(?:to (?:get|drive|travel|reach)(?: there| to)?|to (?:the |our )?(?:hospital|a e|er|ed))\b/g,
      '',
    )
  if (question === 'date') joined = joined.replace(/\b(?:put|went|go) in\b/g, '')
  for (const [known, meant] of PHRASES) joined = joined.replace(known, meant)
  const parts = joined.split(' ').filter(part => part !== '')
  const words = parts.filter(
    (part, index) => isCounted(parts, index) || !(NOISE.has(part) || EVENTS[question].has(part)),
  )
  return words.length === 0 ? undefined : withoutRepeats(withoutStrayLast(words))
}

const COUNTED = new Set([
  'feed',
  'feeds',
  'feeding',
  'bottle',
  'bottles',
  'meal',
  'nappy',
  'diaper',
  'pad',
  'baby',
  'child',
])

/** "After 2 feeds" is no time: a thing that a number counts stays, and the words are asked about. */
function isCounted(parts: readonly string[], index: number): boolean {
  return COUNTED.has(parts[index] ?? '') && /^(?:\d{1,2}|one|two|three|four|five|six)$/.test(parts[index - 1] ?? '')
}

/** Code points of zero: Arabic-Indic, Persian, Devanagari, Bengali. */
const ZEROS = [0x660, 0x6f0, 0x966, 0x9e6]

/** Digits of other scripts as 0 to 9; those not known stay as they are and nothing matches them. */
export function latinDigits(text: string): string {
  return text.replace(/\p{Nd}/gu, digit => {
    const code = digit.codePointAt(0) ?? 0
    const zero = ZEROS.find(start => code >= start && code < start + 10)
    return zero === undefined ? digit : String(code - zero)
  })
}

/** "last" that belongs to no time ("last fed 3 hours ago", with the event dropped). "In the last 3 hours" keeps it. */
function withoutStrayLast(words: readonly string[]): readonly string[] {
  return words.filter((part, index) => part !== 'last' || isOfTime(words[index - 1], words[index + 1]))
}

const NAMED_TIME =
  /^(?:night|evening|week|month|year|jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mon|tue|wed|thu|fri|sat|sun|spring|summer|autumn|fall|winter)/
const BEFORE_A_LENGTH = new Set(['in', 'within', 'for', 'over'])

function isOfTime(before: string | undefined, after: string | undefined): boolean {
  if (after === undefined) return false
  return NAMED_TIME.test(after) || (before !== undefined && BEFORE_A_LENGTH.has(before))
}

export function withoutRepeats(words: readonly string[]): readonly string[] {
  const marks = new Set([HEDGE, RATHER, FOUND])
  return words.filter((part, index) => !(marks.has(part) && words[index - 1] === part))
}
