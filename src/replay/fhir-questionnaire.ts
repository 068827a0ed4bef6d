/** A flow's questions, and what a family answered, as HL7 FHIR R4 (4.0.1): Questionnaire and QuestionnaireResponse. */
import type { Answer } from '../case/answer.ts'
import { type Line, languagesOf } from '../case/line.ts'
import type { FactDocument } from '../flow/document.ts'
import type { Flow } from '../flow/flow-set.ts'
import type { Catalogue } from '../flow/wording.ts'
import { isoOf } from './iso.ts'
import type { RecordedCase } from './reading.ts'

export interface Resource {
  readonly resourceType: string
  readonly id: string
  readonly [key: string]: unknown
}

/** Code system of facts and answers; they are this line's own and stand in no published system. */
const CODES = 'urn:smallhours:answers'
const NOT_SURE = { system: CODES, code: 'not-sure', display: 'Not sure' }

export const questionnaireUrl = (concern: string): string => `urn:smallhours:questionnaire:${concern}`

/** Ids of FHIR: letters, figures, hyphens and full stops, 64 at most. */
export const fhirId = (text: string): string => text.replace(/[^A-Za-z0-9.-]/g, '-').slice(-64)

/** Every question that a flow can ask, in the order of its steps; asked by the line itself, `about` and the like, too. */
export function questionnaireOf(line: Line, concern: string, hash: string | undefined): Resource {
  const flow = line.flows.flows.get(concern)
  const words: Words = { own: flow?.wording.get(line.language), others: otherWords(line, flow) }
  const asked = [...new Set([...(flow?.steps.values() ?? [])].flatMap(step => step.ask ?? []))]
  return {
    resourceType: 'Questionnaire',
    id: fhirId(`questions-${concern}`),
    url: questionnaireUrl(concern),
    ...(hash === undefined ? {} : { version: hash }),
    name: `Questions${concern.replace(/(^|-)([a-z])/g, (_all, _mark, letter: string) => letter.toUpperCase())}`,
    status: 'active',
    experimental: true,
    subjectType: ['Patient'],
    language: line.language,
    item: asked.flatMap(fact => {
      const document = line.flows.facts[fact]
      return document === undefined ? [] : [questionOf(fact, document, words)]
    }),
  }
}

/** What a question is asked with: in the language of the resource, and in the others that families use. */
interface Words {
  readonly own: Catalogue | undefined
  readonly others: readonly (readonly [language: string, wording: Catalogue])[]
}

const otherWords = (line: Line, flow: Flow | undefined): Words['others'] =>
  languagesOf(line).flatMap(language => {
    const wording = language === line.language ? undefined : flow?.wording.get(language)
    return wording === undefined ? [] : [[language, wording] as const]
  })

/** A text with what it is in other languages, by the standard extension for that (HL7 FHIR R4, "translation"). */
function worded(element: 'text' | 'display', { own, others }: Words, id: string, otherwise: string) {
  const extension = others.flatMap(([language, wording]) => {
    const content = wording.source(id)?.trim()
    if (content === undefined || content === '') return []
    const parts = [
      { url: 'lang', valueCode: language },
      { url: 'content', valueString: content },
    ]
    return [{ url: 'http://hl7.org/fhir/StructureDefinition/translation', extension: parts }]
  })
  return {
    [element]: sourceText(own, id, otherwise),
    ...(extension.length === 0 ? {} : { [`_${element}`]: { extension } }),
  }
}

function questionOf(fact: string, document: FactDocument, words: Words) {
  const text = sourceText(words.own, `ask/${fact}`, fact)
  const isSpan = SPANS.has(document.kind)
  const type = isSpan ? 'dateTime' : 'quantity'
  const ends = document.kind === 'length' ? (['at-least', 'at-most'] as const) : (['earliest', 'latest'] as const)
  return {
    linkId: fact,
    ...worded('text', words, `ask/${fact}`, fact),
    ...(isSpan
      ? {
          // What a caregiver remembers is an interval: its two ends are two items.
          type: 'group',
          item: [
            ...ends.map(end => ({
              linkId: `${fact}.${end}`,
              text: `${text} (${end})`,
              type: document.kind === 'length' ? 'quantity' : type,
            })),
            {
              linkId: `${fact}.said`,
              text: `${text} (in words)`,
              type: 'choice',
              answerOption: optionsOf(fact, document, words),
            },
          ],
        }
      : document.kind === 'phone'
        ? { type: 'string' }
        : {
            type: document.kind === 'number' ? 'open-choice' : 'choice',
            repeats: document.kind === 'many',
            answerOption: optionsOf(fact, document, words),
          }),
  }
}

const optionsOf = (fact: string, document: FactDocument, words: Words) => [
  ...(document.values ?? []).map(value => ({
    valueCoding: { system: CODES, code: value, ...worded('display', words, `option/${fact}/${value}`, value) },
  })),
  { valueCoding: NOT_SURE },
]

/** A text as it is written; variables in it stay as `{name}`. Empty texts are none in FHIR. */
const sourceText = (wording: Catalogue | undefined, id: string, otherwise: string): string =>
  wording?.source(id)?.trim() || otherwise

/** What the family answered, the last answer of each question. */
export function responseOf({ head, steps }: RecordedCase, line: Line, device: string): Resource {
  const answers = new Map<string, Answer>()
  let open: { fact: string; answer: Answer } | undefined
  for (const { event } of steps) {
    if (event.kind === 'caseOpened' || event.kind === 'concernNamed')
      for (const [fact, answer] of Object.entries(event.facts ?? {})) answers.set(fact, answer)
    if (event.kind === 'factSaid') answers.set(event.fact, event.answer)
    if (event.kind === 'answerGiven' && event.readBack !== undefined) open = { fact: event.fact, answer: event.answer }
    if (event.kind === 'answerGiven' && event.readBack === undefined) answers.set(event.fact, event.answer)
    if (event.kind === 'readBackAnswered' && event.right && open !== undefined) answers.set(open.fact, open.answer)
  }
  const flow = line.flows.flows.get(head.concern)
  const asked = [...new Set([...(flow?.steps.values() ?? [])].flatMap(step => step.ask ?? []))]
  const version = head.flow === undefined ? '' : `|${head.flow}`
  return {
    resourceType: 'QuestionnaireResponse',
    id: fhirId(`answers-${head.case}`),
    identifier: { system: 'urn:smallhours:case', value: head.case },
    questionnaire: `${questionnaireUrl(head.concern)}${version}`,
    status: head.closed ? 'completed' : 'in-progress',
    authored: isoOf(steps.at(-1)?.at ?? head.openedAt),
    author: { reference: device },
    source: { display: 'caregiver' },
    // In the order of the questionnaire, as FHIR wants it; questions of another concern are not in this one.
    item: asked.flatMap(fact => {
      const answer = answers.get(fact)
      return answer === undefined ? [] : [answerItem(fact, answer, SPANS.has(line.flows.facts[fact]?.kind ?? ''))]
    }),
  }
}

/** Kinds of facts whose answer is an interval. */
const SPANS: ReadonlySet<string> = new Set(['moment', 'date', 'length'])

function answerItem(fact: string, answer: Answer, isSpan: boolean) {
  const coded = (code: string) => ({ valueCoding: { system: CODES, code } })
  const said = (value: object) => (isSpan ? spanItem(fact, [['said', value]]) : { linkId: fact, answer: [value] })
  switch (answer.kind) {
    case 'unsure':
      return said({ valueCoding: NOT_SURE })
    case 'choice':
      return said(coded(answer.value))
    case 'many':
      return { linkId: fact, answer: answer.values.map(coded) }
    case 'number':
      return { linkId: fact, answer: [{ valueString: String(answer.value) }] }
    case 'phone':
      return { linkId: fact, answer: [{ valueString: answer.number }] }
    case 'moment':
      return spanItem(fact, [
        ['earliest', { valueDateTime: isoOf(answer.earliest) }],
        ['latest', { valueDateTime: isoOf(answer.latest) }],
      ])
    case 'length':
      return spanItem(fact, [
        ['at-least', { valueQuantity: minutesOf(answer.atLeastMs) }],
        ['at-most', { valueQuantity: minutesOf(answer.atMostMs) }],
      ])
  }
}

const spanItem = (fact: string, ends: readonly (readonly [end: string, value: object])[]) => ({
  linkId: fact,
  item: ends.map(([end, value]) => ({ linkId: `${fact}.${end}`, answer: [value] })),
})

/** In minutes, by the Unified Code for Units of Measure. */
const minutesOf = (length: number) => ({
  value: length / 60_000,
  unit: 'min',
  system: 'http://unitsofmeasure.org',
  code: 'min',
})
