/** Everything a clinic has to approve before families see it, each part with its exact content and the hash of that. */
import type { Subject } from '../config/approvals.ts'
import { type SettingId, type Settings, settingDefinitions } from '../config/setting-definitions.ts'
import { canonicalText, flowContent, restOfWording, settingsReadBy } from '../flow/content.ts'
import type { FlowSet } from '../flow/flow-set.ts'
import type { Catalogue } from '../flow/wording.ts'
import { sha256 } from '../runtime/system-clock.ts'

export interface Approvable extends Subject {
  /** One line for a list. */
  readonly title: string
  /** The canonical text that the hash is of. */
  readonly text: string
}

export interface ApprovableSources {
  readonly flows: FlowSet
  readonly settings: Settings
  /** Screen words by language. */
  readonly screens: ReadonlyMap<string, Catalogue>
  /** Lexicons as they were parsed, by language. */
  readonly lexicons: ReadonlyMap<string, unknown>
  /** Fixed words in languages that the line does not speak. */
  readonly foreign: Readonly<Record<string, string>>
  readonly drawing: (id: string) => string | undefined
}

/** Ids that no flow may have, since an approval of them would be taken for one of the flow. */
const BESIDE_FLOWS = ['screens', 'lexicon', 'settings'] as const

/** Settings that decide something in a flow that is served, in order. */
export function decidingSettings(flows: FlowSet): readonly SettingId[] {
  const read = new Set([...flows.flows.keys()].flatMap(concern => settingsReadBy(flows, concern)))
  return (Object.keys(settingDefinitions) as SettingId[]).filter(id => read.has(id))
}

/** Every part in the order of a list: flows by name, then what stands beside them. Throws where a flow has a name of these. */
export function approvablesOf(sources: ApprovableSources): readonly Approvable[] {
  const { flows, screens, lexicons, foreign } = sources
  const digest = (id: string) => {
    const drawing = sources.drawing(id)
    return drawing === undefined ? undefined : sha256(drawing)
  }
  const concerns = [...flows.flows.keys()].toSorted()
  const taken = BESIDE_FLOWS.find(id => concerns.includes(id))
  if (taken !== undefined)
    throw new Error(
      `a flow is called "${taken}", which is kept for approvals: give its folder and its concern another name`,
    )
  const flowParts = concerns.map(concern =>
    part(
      concern,
      `what the flow "${concern}" says, asks and decides`,
      [...(flows.flows.get(concern)?.wording.keys() ?? [])],
      flowContent(flows, concern, digest),
    ),
  )
  const screenWords = new Map([...screens].map(([language, screen]) => [language, wordsIn(screen)]))
  return [
    ...flowParts,
    part('screens', 'the words around a conversation, on screens and pages', [...screens.keys()], {
      screen: screenWords,
      wording: restOfWording(flows),
      foreign,
    }),
    part('lexicon', 'how the words of families are understood', [...lexicons.keys()], { lexicon: lexicons }),
    part('settings', 'the settings that decide', [], {
      settings: Object.fromEntries(decidingSettings(flows).map(id => [id, settingText(id, sources.settings)])),
    }),
  ]
}

const wordsIn = (words: Catalogue) => Object.fromEntries([...words.ids].map(id => [id, words.source(id)]))

function part(id: string, title: string, languages: readonly string[], content: unknown): Approvable {
  const text = canonicalText(content)
  return { id, title, languages, text, hash: sha256(text) }
}

/** A setting as a clinic would write it. */
function settingText(id: SettingId, settings: Settings): unknown {
  const value: unknown = settings[id]
  switch (settingDefinitions[id].kind) {
    case 'length':
      return lengthText(Number(value))
    case 'steps':
      return (value as readonly number[]).map(lengthText)
    default:
      return value
  }
}

function lengthText(ms: number): string {
  if (ms % 86_400_000 === 0) return `P${ms / 86_400_000}D`
  return ms % 60_000 === 0 ? `PT${ms / 60_000}M` : `PT${ms / 1000}S`
}
