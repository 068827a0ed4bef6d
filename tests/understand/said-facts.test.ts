import { describe, expect, it } from 'vitest'
import type { Answer } from '../../src/case/answer.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { understand } from '../../src/understand/understand.ts'
import { AT, contextOn } from './english.ts'
import { spanish } from './lexicons.ts'

const times = { readMoment, readDate, readDuration }
type Facts = Readonly<Record<string, Answer>>

function factsSaid(text: string, language: 'en' | 'es' = 'en'): Facts {
  const more = language === 'es' ? { times, lexicon: spanish } : { times }
  const read = understand({ kind: 'text', text }, contextOn(undefined, more))
  if (read.kind !== 'concern') throw new Error(`"${text}" was read as ${read.kind}`)
  return read.facts
}

/** Choices and lists by value, numbers as they are, times left out. */
function plain(facts: Facts): Record<string, string | number> {
  return Object.fromEntries(
    Object.entries(facts).flatMap(([fact, answer]): [string, string | number][] => {
      if (answer.kind === 'choice' || answer.kind === 'number') return [[fact, answer.value]]
      return answer.kind === 'many' ? [[fact, answer.values.join('+')]] : []
    }),
  )
}

describe('what a first message already answers', () => {
  it.each([
    ['theres a bit of blood around the tube', { bleed: 'spots', 'pain-or-bleeding': 'yes' }],
    ['the site is bleeding', { bleed: 'trickle' }],
    ['leaking milk around the button', { 'leak-from': 'around', 'leak-looks': 'feed-or-stomach' }],
    ['feed leaks out of the middle of the button', { 'leak-from': 'middle', 'leak-looks': 'feed-or-stomach' }],
    ['green stuff leaking from the site', { 'leak-looks': 'stool-or-green' }],
    ['tried warm water but it still wont flush', { flush: 'still-blocked' }],
    ['he cries every time i start the feed', { 'pain-on-feed': 'yes' }],
    ['vomiting milk tonight', { vomit: 'feed', 'unwell-too': 'yes' }],
    ['retching during his feeds', { vomit: 'retching' }],
    ['the tube looks longer than this morning', { 'length-outside': 'longer' }],
    ['peg is in deeper than it was', { 'length-outside': 'shorter' }],
    ['the button wont turn any more', { turns: 'no' }],
    ['the cap snapped off', { 'broken-part': 'cap-or-connector' }],
    ['extension set cracked', { 'broken-part': 'extension' }],
    ['the tube has split down the middle', { 'broken-part': 'tube-itself' }],
    ['i put 5ml in last week and today just 3 came out', { 'balloon-came-out': 3 }],
    ['balloon: only 2.5 ml came out, put 5 ml in', { 'balloon-came-out': 2.5, 'balloon-put-in': 5 }],
    ['the balloon should have 14 ml', { 'balloon-put-in': 14 }],
    ['pus and the redness is spreading', { 'skin-signs': 'spreading+pus' }],
    ['can i crush this tablet, it is slow release', { 'medicine-form': 'modified-release' }],
    ['blocked and his seizure meds are due', { 'critical-medicine-due': 'yes' }],
    ['i put formula in the balloon port', { 'wrong-port': 'into-balloon-port' }],
    ["can't get the water out of the balloon", { 'balloon-empties': 'no' }],
    ['fever 101 and not tolerating feeds', { temperature: 38.33 }],
    ['tube is leaking, temp 38.4', { temperature: 38.4 }],
    ['tube out, school nurse here', { 'who-writes': 'school' }],
    ["tube out, it's grandma", { 'who-writes': 'other-family' }],
    ['im 15 and my own g tube fell out', { 'who-writes': 'young-person' }],
    ["my son's tube fell out", { 'who-writes': 'parent' }],
  ])('"%s"', (text, facts) => expect(plain(factsSaid(text))).toMatchObject(facts))

  it.each([
    ['le sale leche alrededor del botón', { 'leak-from': 'around', 'leak-looks': 'feed-or-stomach' }],
    ['sangró poquito cuando le limpié', { bleed: 'spots', 'pain-or-bleeding': 'yes' }],
    ['sigue tapada, ya probé con agua tibia', { flush: 'still-blocked' }],
    ['llora cada vez que le paso la leche', { 'pain-on-feed': 'yes' }],
    ['vomitó la leche', { vomit: 'feed' }],
    ['la sonda se ve más larga que antes', {}],
    ['el botón no gira', { turns: 'no' }],
    ['se rompió la tapita del botón', { 'broken-part': 'cap-or-connector' }],
    ['le sale pus', { 'skin-signs': 'pus' }],
    ['está tapada y le toca la medicina de la epilepsia', { 'critical-medicine-due': 'yes' }],
    ['tiene calentura de 39 y le gotea la sonda', { temperature: 39, 'unwell-too': 'yes' }],
    ['fiebre de 101 y no tolera la leche', { temperature: 38.33 }],
    ['soy la abuela, se le salió el botón', { 'who-writes': 'other-family' }],
    ['a mi hija se le salió la sonda, quise meterla y no entra', { replaced: 'would-not-go', 'who-writes': 'parent' }],
  ])('"%s"', (text, facts) => expect(plain(factsSaid(text, 'es'))).toMatchObject(facts))

  it('the worse of two values is taken', () => {
    expect(plain(factsSaid('leaking milk and some blood leaking too'))).toMatchObject({ 'leak-looks': 'blood' })
    expect(plain(factsSaid('cap broke and the tube is cracked'))).toMatchObject({ 'broken-part': 'tube-itself' })
  })

  it.each([
    'what if the site bleeds',
    'tube leaking, should i worry if it bleeds',
    'last month it was bleeding, now the tube is blocked',
    'leaking, no bleeding',
    'tube is blocked, not bleeding',
  ])('"%s" says nothing of bleeding now', text => {
    expect(factsSaid(text)).not.toHaveProperty('bleed')
    expect(factsSaid(text)).not.toHaveProperty('pain-or-bleeding')
  })

  it('what is mild or opens a step is left to be asked', () => {
    const text =
      'leaking. skin is a little red, tube went in easily, balloon was empty, liquid medicine, no fever, no pain, taught to change it, spare here'
    const facts = factsSaid(text)
    for (const fact of ['skin-signs', 'replaced', 'came-out-with', 'medicine-form', 'temperature', 'taught', 'spare'])
      expect(facts).not.toHaveProperty(fact)
  })

  it('an age counts at its younger end', () => {
    const day = 86_400_000
    expect(factsSaid('tube out, she is 9 months old').age).toEqual({
      kind: 'length',
      atLeastMs: 270 * day,
      atMostMs: 310 * day,
    })
    expect(factsSaid('3 yo, tube leaking').age).toEqual({ kind: 'length', atLeastMs: 1095 * day, atMostMs: 1464 * day })
    expect(factsSaid('twins, 3 yo and 5 yo, tube leaking')).not.toHaveProperty('age')
    expect(factsSaid('she is 3 and her tube leaks')).not.toHaveProperty('age')
  })

  it('the day of the first tube is read, to be read back', () => {
    const read = understand(
      { kind: 'text', text: 'leaking. she had her tube placed 3 weeks ago' },
      contextOn(undefined, { times }),
    )
    if (read.kind !== 'concern') throw new Error(read.kind)
    const { earliest, latest } = read.readBacks['first-placed'] ?? { earliest: 0, latest: 0 }
    const days = (at: number): number => (AT - at) / 86_400_000
    expect(days(earliest)).toBeGreaterThanOrEqual(21)
    expect(days(latest)).toBeLessThanOrEqual(21)
    expect(days(latest)).toBeGreaterThan(10)
  })
})

describe('a temperature', () => {
  // 101 °F = 38.3 °C and 98.6 °F = 37.0 °C by (F − 32) × 5/9, the definition of the scale; 100.4 °F = 38.0 °C, the fever
  // threshold as US paediatric guidance writes it (from memory).
  it.each([
    ['101', 38.33],
    ['98.6', 37],
    ['100.4', 38],
    ['100.4 F', 38],
    ['38', 38],
    ['38.5°C', 38.5],
    ['38,5', 38.5],
    ['101 degrees f', 38.33],
    ['101°F', 38.33],
    ['39 c', 39],
    ['95', 35],
    ['35.4', 35.4],
  ])('"%s" is %s °C', (text, celsius) => {
    expect(understand({ kind: 'text', text }, contextOn('temperature'))).toMatchObject({
      answer: { kind: 'number', value: celsius },
    })
  })

  it.each([
    ['101 C', 'number-impossible'],
    ['38 F', 'number-impossible'],
    ['60', 'number-impossible'],
    ['200', 'number-impossible'],
    ['385', 'number-impossible'],
    ['38 or 39', 'number-unclear'],
    ['38 ml', 'number-unclear'],
    ['14 Fr', 'number-unclear'],
  ])('"%s" is asked again: %s', (text, reason) =>
    expect(understand({ kind: 'text', text }, contextOn('temperature'))).toMatchObject({ kind: 'misread', reason }),
  )

  it('one that no child has is not taken from a first message', () => {
    for (const text of ['fever 60 and leaking', 'temp 385, leaking', 'fever 101 or 103, leaking'])
      expect(factsSaid(text)).not.toHaveProperty('temperature')
    expect(factsSaid('leaking, fed 101 ml')).not.toHaveProperty('temperature')
  })
})
