import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { explain } from '../../src/understand/explain.ts'
import { english } from './english.ts'
import { spanish } from './lexicons.ts'

/**
 * The signs of the WHO scheme for assessing dehydration (The treatment of diarrhoea, 2005), as printed in BMJ 2013;347:f7204,
 * table 1 (pmc.ncbi.nlm.nih.gov/articles/PMC5776699). Its words are a clinician's; those beside them are ours.
 */
const SEVERE_AND_URGENT: readonly (readonly [sign: string, en: string, es: string])[] = [
  ['lethargic', 'he is lethargic', 'está aletargado'],
  ['cannot be fully awakened', 'i cant fully wake her', 'no logro que despierte bien'],
  ['unconscious', 'she is unconscious', 'está inconsciente'],
  ['drifting into unconsciousness', 'he keeps drifting off', 'se me va quedando ido'],
]
const OTHERS: readonly (readonly [sign: string, en: string, es: string])[] = [
  ['sunken eyes', 'her eyes look sunken', 'tiene los ojos hundidos'],
  ['thirsty, drinks eagerly', 'he is so thirsty', 'tiene mucha sed'],
  ['drinks poorly, or not able to drink', 'she wont drink anything', 'no puede beber nada'],
  ['skin pinch goes back slowly', 'when i pinch the skin it stays up', 'le pellizco la piel y tarda en bajar'],
]
const read = (text: string, isSpanish: boolean) => explain(text, isSpanish ? spanish : english)

describe('signs of dehydration in the WHO scheme, in a family’s words', () => {
  it.each(SEVERE_AND_URGENT)('%s is a danger sign: the emergency number comes first', (_sign, en, es) => {
    expect([read(en, false).danger, read(es, true).danger]).toEqual([['drowsy'], ['drowsy']])
  })

  it.each(OTHERS)('%s leads to the flow that asks about urine and feeds', (_sign, en, es) => {
    expect([read(en, false).concerns[0], read(es, true).concerns[0]]).toEqual(['feed-trouble', 'feed-trouble'])
  })

  // Table 1, notes: eyes are sunken in some children always. "Is it more than usual" is what is asked for; a skin pinch
  // misleads in a thin or heavy child, and a family is not told to try one.
  it('whoever stays at home is told to watch for a dry mouth, no tears and eyes more sunken than usual', () => {
    const watch = (language: string) =>
      readFileSync(new URL(`../../flows/feed-trouble/wording.${language}.yaml`, import.meta.url), 'utf8')
    expect(watch('en')).toMatch(/dry mouth, no tears, or eyes more sunken than usual/)
    expect(watch('es')).toMatch(/boca seca, llanto sin lágrimas u ojos más hundidos que siempre/)
  })
})
