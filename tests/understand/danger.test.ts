import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { concernsIn } from '../../src/understand/concern.ts'
import { dangerIn } from '../../src/understand/danger.ts'
import { explain } from '../../src/understand/explain.ts'
import { lexiconFileSchema } from '../../src/understand/lexicon-file.ts'
import { readingOf } from '../../src/understand/pattern.ts'
import { plainOf } from '../../src/understand/plain.ts'
import { tokensOf } from '../../src/understand/token.ts'
import { english, typed } from './english.ts'

// Invented lines, labelled by us: nobody's real words, no clinician's labels. They show that the words listed are
// found and that the listed denials are not danger; they measure no real family's words. Batches written after the
// phrases were, and read once before any phrase was added for them, had 56 of 62 and 43 of 56 danger lines found, and 0 of
// 52, 3 of 43 and 0 of 40 false alarms: words nobody thought of will be missed, which is why the signs are also asked.
interface Row {
  readonly text: string
  readonly danger: readonly string[]
  readonly concern?: readonly string[]
}
const corpus = readFileSync(fileURLToPath(new URL('./corpus.en.jsonl', import.meta.url)), 'utf8')
  .trim()
  .split('\n')
  .map((line): Row => JSON.parse(line))

const read = (text: string) => readingOf(tokensOf(plainOf(text)), english.vocabulary)
const signsIn = (text: string): readonly string[] => dangerIn(read(text), english).map(found => found.sign)

/** Danger found in lines labelled as free of it. Kept as a list: each is a family asked too much, none is a harm. */
const FALSE_ALARMS: readonly string[] = []

describe('danger signs in free words', () => {
  it('has at least 300 labelled lines, every sign among them', () => {
    expect(corpus.length).toBeGreaterThanOrEqual(300)
    const named = new Set(corpus.flatMap(row => row.danger))
    expect(english.signs.map(sign => sign.id).filter(id => !named.has(id))).toEqual([])
  })

  it('finds every sign labelled in the corpus', () => {
    const missed = corpus.filter(row => row.danger.some(sign => !signsIn(row.text).includes(sign)))
    expect(missed.map(row => row.text)).toEqual([])
  })

  it('finds a sign that is written as its own button reads', () => {
    const wording = parse(
      readFileSync(fileURLToPath(new URL('../../flows/shared/wording.en.yaml', import.meta.url)), 'utf8'),
    )
    const signs = english.signs.map(sign => sign.id)
    const labels = signs.map(sign => ({ sign, label: String(wording[`option/danger-signs/${sign}`] ?? '') }))
    expect(labels.filter(({ sign, label }) => label !== '' && !signsIn(label).includes(sign))).toEqual([])
    expect(labels.filter(({ label }) => label !== '').length).toBeGreaterThanOrEqual(8)
  })

  it('raises no false alarm on the corpus beyond those listed', () => {
    const alarms = corpus.filter(row => row.danger.length === 0 && signsIn(row.text).length > 0).map(row => row.text)
    expect(alarms).toEqual(FALSE_ALARMS)
  })

  it('finds the concern labelled in the corpus', () => {
    const wrong = corpus.flatMap(row => {
      const found = concernsIn(read(row.text), english).map(one => one.concern)
      return row.concern === undefined || found.join() === row.concern.join() ? [] : [{ text: row.text, found }]
    })
    expect(wrong).toEqual([])
  })

  it.each(['have-you-left', 'out-since', 'ph', 'ring-back', 'device', 'taught', 'danger-signs', undefined])(
    'acts on danger words while %s is open',
    fact => {
      for (const row of corpus.filter(({ danger }) => danger.length > 0)) {
        expect(typed(row.text, fact)).toMatchObject({ kind: 'danger', signs: expect.arrayContaining([...row.danger]) })
      }
    },
  )

  it('acts on danger words while a time is being read back', () => {
    expect(typed('no! she is not breathing', 'out-since', { readBack: true })).toMatchObject({
      kind: 'danger',
      signs: ['breathing'],
    })
  })
})

describe('denials', () => {
  const plainDenials = [
    'he vomited milk not green not bloody',
    'threw up her milk, no blood or green',
    'not blue',
    'lips are not blue',
    "her lips aren't blue",
    'no blue lips',
    'blue lips? no',
    'no fits, blue lips or rash',
    'neither blue nor floppy',
    'no trouble breathing',
    "he isn't floppy",
    'without any trouble breathing',
  ]
  it.each(plainDenials)('"%s" is no danger', text => expect(signsIn(text)).toEqual([]))

  const unclear = [
    'not not blue',
    'his vomit is not white, not normal green',
    'she is not not blue',
    'not very blue',
    'not blue any more',
    "I don't think she is blue",
    'no wet nappies blue lips',
    'lips not pink but blue',
    'lips are not pink, blue',
    'no rash, lips blue or grey',
    'not only floppy',
    'no, blue lips',
    'no she is floppy',
    'not sure if she is breathing',
    'no fever, floppy',
    'no heavy bleeding now but earlier yes it had',
    'it was not milk, she vomited green',
    'never seen him so floppy',
  ]
  it.each(unclear)('"%s" is not dropped', text => expect(signsIn(text)).not.toEqual([]))

  it('a denial never reaches into the next sentence or line', () => {
    for (const end of ['.', '!', '?', ';', '\n', '。']) expect(signsIn(`no fever${end} blue lips`)).toEqual(['colour'])
  })
})

describe('looks and slips', () => {
  const same = [
    'NOT BREATHING',
    'ｎｏｔ ｂｒｅａｔｈｉｎｇ',
    'n\u200bot brea\u00adthing',
    'nоt brеаthіng',
    'not  breathing',
    'not breathng',
    'not braething',
    'notbreathing',
    'not breeathing',
    'not\u00a0breathing',
    '<p>not <b>breathing</b></p>',
    '“not breathing”',
    'nót bréathing',
    'isn’t breathing',
    'isn`t breathing',
    'isn´t breathing',
    'isnt breathing',
  ]
  it.each(same)('reads %j as not breathing', text => expect(signsIn(text)).toContain('breathing'))

  it('a real word near a danger word is not taken for it', () => {
    expect(signsIn('sloppy poo, bottled water, the pump is bleeping')).toEqual([])
  })

  it('one wrong letter in any word of eight letters or more is still found', () => {
    // The first phrases of each sign that are plain words; every single letter dropped, doubled or swapped with the next.
    for (const text of [
      'she is unconscious',
      'she is unresponsive',
      'having convulsions',
      'non-stop screaming in agony and inconsolable',
    ]) {
      const long = text.split(' ').reduce((a, b) => (b.length > a.length ? b : a))
      for (let at = 0; at < long.length - 1; at += 1) {
        const slips = [
          long.slice(0, at) + long.slice(at + 1),
          long.slice(0, at) + long[at] + long.slice(at),
          long.slice(0, at) + long[at + 1] + long[at] + long.slice(at + 2),
        ]
        for (const slip of slips) expect([slip, signsIn(text.replace(long, slip)).length > 0]).toEqual([slip, true])
      }
    }
  })
})

/** A machine that is busy with other things takes some tenths of a second; time that grew with the square, many seconds. */
const READ_WITHIN_MS = 1_000

describe('any text at all', () => {
  const planted = [
    "can't wake her",
    'lips are blue',
    "she's floppy",
    'not breathing',
    'throwing up green',
    'belly rock hard',
    "blood won't stop",
  ]

  it('gives exactly one meaning and never throws', () => {
    fc.assert(
      fc.property(
        fc.string({ unit: 'binary', maxLength: 400 }),
        fc.constantFrom(undefined, 'device', 'out-since', 'ph', 'ring-back', 'taught'),
        (text, fact) => {
          expect(typeof typed(text, fact).kind).toBe('string')
        },
      ),
      { numRuns: 1_000 },
    )
  })

  it('never hides a danger phrase planted on a line of its own', () => {
    const words = fc.oneof(
      fc.string({ unit: 'binary', maxLength: 300 }),
      fc
        .array(fc.constantFrom('no', 'not', 'tube', 'blue', 'cap', 'she', 'or', 'never', 'out', ',', 'fine'), {
          maxLength: 60,
        })
        .map(list => list.join(' ')),
    )
    fc.assert(
      fc.property(words, fc.constantFrom(...planted), words, (before, phrase, after) => {
        expect(typed(`${before}\n${phrase}\n${after}`, 'device').kind).toBe('danger')
      }),
      { numRuns: 1_000 },
    )
  })

  it('finds danger at the end of a text far too long, before saying that it is too long', () => {
    const filler = 'the tube is out and we are at home. '.repeat(400)
    expect(typed(filler, 'device')).toMatchObject({ kind: 'misread', reason: 'too-long' })
    expect(typed(`${filler}she is not breathing`, 'device')).toMatchObject({ kind: 'danger', signs: ['breathing'] })
    expect(typed(`${'x'.repeat(1_000_000)} she is not breathing`, 'device')).toMatchObject({ kind: 'danger' })
  })

  it('reads 100,000 characters in time that grows with their number, whatever they are', () => {
    const texts = [
      'she is not ',
      'blue ',
      'no or ',
      'a',
      'ab,',
      "can't ",
      'tube came her lips blood ',
      'щ',
      '\u0301',
      '7',
      'not sure she is so very ',
    ]
    for (const part of texts) {
      const text = part.repeat(Math.ceil(100_000 / part.length)).slice(0, 100_000)
      // The best of several, so that a busy machine does not fail what is fast.
      const took = Array.from({ length: 5 }, () => {
        const begun = performance.now()
        typed(text, 'device')
        return performance.now() - begun
      })
      expect([part, Math.min(...took) < READ_WITHIN_MS]).toEqual([part, true])
    }
  })

  it('reads the longest first message that is read in full in time that grows with its length', () => {
    for (const part of ['came out 20 minutes ago ', 'tube out ', 'at 1 30 am ', 'put it back in ', 'she ']) {
      const text = part.repeat(Math.ceil(4_000 / part.length)).slice(0, 4_000)
      const took = Array.from({ length: 5 }, () => {
        const begun = performance.now()
        typed(text)
        return performance.now() - begun
      })
      expect([part, Math.min(...took) < READ_WITHIN_MS]).toEqual([part, true])
    }
  })
})

describe('explaining a reading', () => {
  it('names the words that made it so', () => {
    expect(explain('her tube came out and her lips are blue', english)).toEqual({
      concerns: ['tube-out'],
      danger: ['colour'],
      because: ['colour: lips are blue', 'tube-out: tube came out'],
    })
  })

  it('takes a wish for a person, and despair, for the concern "someone"', () => {
    expect(explain('I want to speak to a person', english).concerns).toEqual(['someone'])
    expect(explain("I can't do this anymore", english).concerns).toEqual(['someone'])
    expect(explain('hello', english).concerns).toEqual([])
  })
})

describe('the lexicon file', () => {
  const file = (): Record<string, unknown> =>
    parse(readFileSync(fileURLToPath(new URL('../../flows/shared/lexicon.en.yaml', import.meta.url)), 'utf8'), {
      version: '1.2',
    })

  it('has the danger signs of flows/shared/facts.yaml and no others', () => {
    const facts = parse(
      readFileSync(fileURLToPath(new URL('../../flows/shared/facts.yaml', import.meta.url)), 'utf8'),
      { version: '1.2' },
    )
    const listed: string[] = facts.facts['danger-signs'].values
    expect(english.signs.map(sign => sign.id).sort()).toEqual(listed.filter(value => value !== 'none').sort())
  })

  it('refuses a key it does not know', () => {
    expect(lexiconFileSchema.safeParse({ ...file(), dangers: {} }).success).toBe(false)
  })
})
