import { type MessageFormatElement, parse, TYPE } from '@formatjs/icu-messageformat-parser'
import { IntlMessageFormat } from 'intl-messageformat'
import type { Wording } from './document.ts'

/** Every variable a text may use. Values arrive as final text, chosen for the family's zone, clock and language. */
export const VARIABLES = [
  'emergency',
  'clinicNumber',
  'clinicWords',
  'clinicName',
  'hospital',
  'hospitalDoor',
  'hospitalNumber',
  'transport',
  'leaveBy',
  'outSince',
  'travel',
  'clinician',
  'clinicianRole',
  'dayTaker',
  'promisedBy',
  'promiseFailsAt',
  'phoneEnds',
  'code',
  'now',
  'pagesSent',
  'reading',
  'late',
  'opensAt',
  'arrival',
  'quoted',
  'answer',
  'label',
  'nickname',
  'hasTravel',
  'hasLeaveBy',
  'hasPhone',
  'paging',
  'leavePast',
  'promisePast',
  'placed',
  'tube',
  'staffNumber',
  'also',
  'languages',
  'flushLeast',
  'flushMost',
  'flushWait',
] as const
export type Variable = (typeof VARIABLES)[number]
export type Values = Readonly<Partial<Record<Variable, string | number>>>

/** The texts of one language. */
export interface Catalogue {
  readonly language: string
  has(id: string): boolean
  /** The text as it is written, unfilled. */
  source(id: string): string | undefined
  /** The filled text. Throws `WordingBroken` when the id or a variable is missing: the caller falls back to the fixed text. */
  text(id: string, values?: Values | (() => Values)): string
  readonly ids: ReadonlySet<string>
}

export class WordingBroken extends Error {
  override readonly name = 'WordingBroken'
}

/** The faults of one text: syntax, unknown variables, a plural or select that lacks a form. Empty when sound. */
export function textFaults(text: string, language: string): string[] {
  let elements: MessageFormatElement[]
  try {
    elements = parse(text, { ignoreTag: true })
  } catch (cause) {
    return [`ICU MessageFormat cannot read it: ${cause instanceof Error ? cause.message : 'unreadable'}`]
  }
  const faults: string[] = []
  walk(elements, element => {
    if (element.type === TYPE.literal || element.type === TYPE.pound) return
    if (!(VARIABLES as readonly string[]).includes(element.value)) faults.push(`unknown variable {${element.value}}`)
    if (element.type === TYPE.plural) {
      const wanted = new Intl.PluralRules(language).resolvedOptions().pluralCategories
      for (const form of wanted)
        if (!(form in element.options)) faults.push(`plural {${element.value}} lacks "${form}"`)
    }
  })
  return faults
}

/** Names of the variables a text uses. */
export function variablesOf(text: string): string[] {
  const names = new Set<string>()
  walk(parse(text, { ignoreTag: true }), element => {
    if (element.type !== TYPE.literal && element.type !== TYPE.pound) names.add(element.value)
  })
  return [...names]
}

function walk(elements: readonly MessageFormatElement[], visit: (element: MessageFormatElement) => void): void {
  for (const element of elements) {
    visit(element)
    if (element.type === TYPE.plural || element.type === TYPE.select) {
      for (const option of Object.values(element.options)) walk(option.value, visit)
    }
  }
}

/** A catalogue over one or more wordings; later ones win. Texts are compiled when first used. */
export function catalogueOf(language: string, ...wordings: readonly Wording[]): Catalogue {
  const texts = new Map<string, string>()
  for (const wording of wordings) for (const [id, text] of Object.entries(wording)) texts.set(id, text)
  const compiled = new Map<string, IntlMessageFormat | string>()
  return {
    language,
    ids: new Set(texts.keys()),
    has: id => texts.has(id),
    source: id => texts.get(id),
    text(id, values = {}) {
      const text = texts.get(id)
      if (text === undefined) throw new WordingBroken(`no text "${id}" in ${language}: add it to the wording`)
      try {
        const message = compiled.get(id) ?? compile(text, language)
        compiled.set(id, message)
        if (typeof message === 'string') return message
        return String(message.format({ ...(typeof values === 'function' ? values() : values) }))
      } catch (cause) {
        throw new WordingBroken(
          `text "${id}" in ${language} cannot be filled: ${cause instanceof Error ? cause.message : 'unknown'}`,
        )
      }
    },
  }
}

/** What fills a text; the text itself where there is nothing to fill. */
function compile(text: string, language: string): IntlMessageFormat | string {
  const message = new IntlMessageFormat(text, language, undefined, { ignoreTag: true })
  const isFilled = message.getAst().some(({ type }) => type !== TYPE.literal)
  return isFilled ? message : String(message.format())
}
