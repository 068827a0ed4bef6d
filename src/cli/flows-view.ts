/** The page *Flows*, worked out from the very content that is hashed and approved. */

import { join } from 'node:path'
import { staffLine } from '../case/line.ts'
import { languageName as nameOfLanguage } from '../case/values.ts'
import type { Wording } from '../channels/web-page.ts'
import { dateText } from '../config/value-words.ts'
import type { PartRow, PartView, PartWords, WordsOf } from '../http/console/flows-page.ts'
import type { FlowsPorts } from '../http/console/flows-routes.ts'
import { flowPicture } from '../modelcheck/pictures/graph.ts'
import { sheetsOf } from '../modelcheck/pictures/svg.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import type { Again } from './again.ts'
import { type ApprovedSince, approvedSince } from './approved-since.ts'
import { contentOf, storedFigures } from './check-figures.ts'
import { conversationSaid, differentSaid } from './conversations-said.ts'
import type { ConversationsSide } from './conversations-side.ts'
import { readFlowFiles } from './flow-files.ts'
import { standings } from './guards.ts'
import { type LoadedLine, loadLine } from './load-line.ts'

export interface FlowsSources {
  readonly clinicDir: string
  readonly flowsDir?: string
  readonly now: () => Instant
  readonly wording: Wording
  /** The line as it is served now, for its pictures. */
  readonly served: () => LoadedLine
  readonly again: Again
  readonly conversations: Pick<ConversationsSide, 'of'>
  /** What came of a press about a part that took longer than its answer. */
  readonly newsOf: (part: string) => string | undefined
}

type Stands = ReturnType<typeof standings>[number]

/** What is read of the folder, whether or not it is what is served. */
function standingsNow({ clinicDir, flowsDir, now, again }: FlowsSources): {
  readonly all: readonly Stands[]
  readonly clinic: Clinic | undefined
} {
  const read = loadLine({ clinicDir, ...(flowsDir === undefined ? {} : { flowsDir }), at: now(), again })
  const clinic = read.clinic.asRead
  return { clinic, all: clinic === undefined ? [] : standings(clinicDir, read.approvables, clinic, now()) }
}

export function flowsView(sources: FlowsSources): Omit<FlowsPorts, 'approve' | 'withdraw'> {
  const { wording, served } = sources
  return {
    async parts() {
      const { all, clinic } = standingsNow(sources)
      return all.map(one => rowOf(one, clinic, sources))
    },
    async part(id, may) {
      const { all, clinic } = standingsNow(sources)
      const one = all.find(({ subject }) => subject.id === id)
      if (one === undefined) return undefined
      const since = sinceIn(one, clinic, sources)
      const by = since?.by.map(each => nameIn(clinic, each)).join(', ') ?? ''
      return {
        ...rowOf(one, clinic, sources),
        hash: one.subject.hash,
        languages: one.subject.languages.map(id => ({ id, name: languageName(served().line, id) })),
        sheets: sheetsIn(served(), id).length,
        checked: [...[sources.newsOf(id) ?? []].flat(), ...checkedOf(id, sources)],
        ...(since === undefined ? {} : { since: { who: by, changes: since.changes } }),
        ...differentIn(one, since, sources),
        mayApprove: may.approve,
        mayWithdraw: may.withdraw && one.counted.length > 0,
      }
    },
    async words(id, language) {
      const one = standingsNow(sources).all.find(({ subject }) => subject.id === id)
      const words = one === undefined ? undefined : contentWords(one, language, wording)
      if (one === undefined || words === undefined) return undefined
      const called = languageName(served().line, language)
      return { id, title: titleOf(id, sources), hash: one.subject.hash, words, called, sources: sourcesOf(one) }
    },
    async conversation(id, situation) {
      const { all, clinic } = standingsNow(sources)
      const one = all.find(({ subject }) => subject.id === id)
      const since = one === undefined ? undefined : sinceIn(one, clinic, sources)
      if (one === undefined || since === undefined) return undefined
      const state = sources.conversations.of(id, `${since.hash} ${one.subject.hash}`)
      return conversationSaid(state, situation, { id, wording, line: served().line })
    },
    sheet: (id, number) => sheetsIn(served(), id).find(sheet => sheet.number === number)?.svg,
  }
}

const sinceIn = (
  one: Stands,
  clinic: Clinic | undefined,
  { clinicDir, now }: FlowsSources,
): ApprovedSince | undefined =>
  clinic === undefined ? undefined : approvedSince(one, { clinicDir, clinic, at: now() })

const nameIn = (clinic: Clinic | undefined, id: string): string =>
  clinic?.people.find(person => person.id === id)?.name ?? id

/** A part in the words of the clinic's people: the trouble that a flow is about, or what else is approved. */
function titleOf(id: string, { wording, served }: FlowsSources): string {
  const { line } = served()
  if (!line.flows.flows.has(id)) return BESIDE_FLOWS.has(id) ? wording(`flows-part-${id}`) : id
  const words = line.flows.wording.get(line.clinic.staffLanguage) ?? line.flows.wording.get(line.language)
  return words?.has(`concern/${id}`) === true ? words.text(`concern/${id}`) : id
}

const BESIDE_FLOWS = new Set(['screens', 'lexicon', 'settings'])

/** As the clinic's people call it: "Spanish". */
const languageName = (line: LoadedLine['line'], language: string): string => nameOfLanguage(staffLine(line), language)

const dayOf = (at: Instant): string => new Date(at).toISOString().slice(0, 10)

function rowOf(
  { subject, isApproved, counted, withdrawn }: Stands,
  clinic: Clinic | undefined,
  sources: FlowsSources,
): PartRow {
  const { wording } = sources
  const by = counted.map(
    one => `${nameIn(clinic, one.by)}, ${dateText(dayOf(one.at), staffLine(sources.served().line).language)}`,
  )
  const standing =
    by.length > 0
      ? wording('flows-by', { name: by.join('; ') })
      : wording(withdrawn.length > 0 ? 'flows-changed-since' : 'flows-by-nobody')
  return { id: subject.id, title: titleOf(subject.id, sources), isApproved, standing }
}

/** Words around a conversation lead nowhere: nothing is played for them. */
const NEVER_PLAYED = new Set(['screens'])

function differentIn(
  { subject }: Stands,
  since: ApprovedSince | undefined,
  { conversations, wording, served }: FlowsSources,
): Pick<PartView, 'different'> {
  if (since === undefined || since.hash === subject.hash || NEVER_PLAYED.has(subject.id)) return {}
  const state = conversations.of(subject.id, `${since.hash} ${subject.hash}`)
  return { different: differentSaid(state, { wording, line: served().line }) }
}

// ---- The words, with what each rests on ----

interface Content {
  readonly wording?: Readonly<Record<string, Readonly<Record<string, string>>>>
  readonly screen?: Readonly<Record<string, Readonly<Record<string, string>>>>
  readonly settings?: Readonly<Record<string, unknown>>
  readonly lexicon?: Readonly<Record<string, Readonly<Record<string, unknown>>>>
  readonly advice?: Readonly<
    Record<
      string,
      {
        readonly tags: readonly string[]
        readonly 'rests-on'?: readonly string[]
        readonly practice?: string
        readonly own?: string
      }
    >
  >
  readonly sources?: Readonly<
    Record<string, { readonly title: string; readonly body?: string; readonly year?: number; readonly how: string }>
  >
}

function contentWords({ subject }: Stands, language: string, wording: Wording): WordsOf | undefined {
  const content = JSON.parse(subject.text) as Content
  const settings = Object.entries(content.settings ?? {})
  if (content.wording === undefined && settings.length > 0) return listedWords('en', settings)
  const lexicon = content.lexicon?.[language]
  if (lexicon !== undefined) return listedWords(language, Object.entries(lexicon))
  const texts = { ...content.wording?.[language], ...content.screen?.[language] }
  return Object.keys(texts).length === 0 ? undefined : wordsOf(language, texts, content, wording)
}

const sourcesOf = ({ subject }: Stands): PartWords['sources'] =>
  Object.entries((JSON.parse(subject.text) as Content).sources ?? {}).map(([id, { title, body, year, how }]) => ({
    id,
    says: [title, body, year, how].filter(each => each !== undefined).join(', '),
  }))

const listedWords = (language: string, settings: readonly (readonly [string, unknown])[]): WordsOf => ({
  language,
  advice: [],
  others: settings.map(([id, value]) => ({ id, text: typeof value === 'string' ? value : JSON.stringify(value) })),
})

function wordsOf(
  language: string,
  texts: Readonly<Record<string, string>>,
  { advice = {}, sources = {} }: Content,
  wording: Wording,
): WordsOf {
  const isAdvice = ([id]: readonly [string, string]) => id.startsWith('say/')
  return {
    language,
    advice: Object.entries(texts)
      .filter(isAdvice)
      .map(([id, text]) => {
        const own = advice[id.slice('say/'.length)]
        const rests = own?.['rests-on']?.map(source => `[${source}] ${sources[source]?.title ?? ''}`.trim()).join('; ')
        const basis = rests ?? own?.practice ?? own?.own
        const does = own === undefined || own.tags.length === 0 ? wording('flows-no-act') : own.tags.join(', ')
        return { id, text, does, ...(basis === undefined ? {} : { basis }) }
      }),
    others: Object.entries(texts).flatMap(entry => (isAdvice(entry) ? [] : [{ id: entry[0], text: entry[1] }])),
  }
}

// ---- The picture, and what the checker says ----

function sheetsIn({ line }: LoadedLine, id: string): ReturnType<typeof sheetsOf> {
  const flow = line.flows.flows.get(id)
  return flow === undefined ? [] : sheetsOf(flowPicture(flow, line.flows, line.language))
}

/** Figures of the release hold for these very flows and rules only: said where they are of others. */
function checkedOf(id: string, { clinicDir, flowsDir, wording, served }: FlowsSources): readonly string[] {
  const figures = storedFigures()
  const files = readFlowFiles(flowsDir, join(clinicDir, 'flows'))
  const own = figures?.flows.filter(({ flow }) => flow === id) ?? []
  if (own.length === 0) return [wording('flows-not-walked', { name: id })]
  if (figures?.content !== contentOf(files)) return [wording('flows-walked-other', { name: id })]
  return own.map(({ states, rules, broken }) =>
    broken.length === 0
      ? wording('flows-holds', {
          count: rules.length,
          answer: states.toLocaleString(staffLine(served().line).language),
        })
      : wording('flows-breaks', { name: broken.join(', ') }),
  )
}
