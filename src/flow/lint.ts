/** What the wording may not lack or say: every id in every language, sound texts, no hazardous act without its tag. */

import type { SourcesFile, StepDocument, Wording } from './document.ts'
import type { FlowSources, Placed } from './flow-sources.ts'
import { nearestId, type Problem } from './problem.ts'
import { textFaults } from './wording.ts'

/** Problems of all wording files of a folder set. */
export function checkWording(sources: FlowSources): Problem[] {
  const problems: Problem[] = []
  const languages = new Set([
    ...sources.sharedWording.keys(),
    ...sources.flows.flatMap(flow => [...flow.wording.keys()]),
  ])
  for (const language of languages) {
    const shared = sources.sharedWording.get(language)
    if (shared !== undefined) problems.push(...faultsOf(shared, language))
    const sharedIds = new Set(Object.keys(shared?.value ?? {}))
    requireIds(sources.sharedSteps, sources.sharedSources, sharedIds, language, shared)
    for (const folder of sources.flows) {
      const own = folder.wording.get(language)
      if (own !== undefined) problems.push(...faultsOf(own, language))
      const ids = new Set([...sharedIds, ...Object.keys(own?.value ?? {})])
      requireIds(folder.flow, folder.sources, ids, language, own)
    }
    problems.push(...untaggedActs(language))
  }
  if (languages.size === 0) {
    problems.push({
      code: 'WORDING_MISSING',
      file: 'shared/wording.en.yaml',
      line: 1,
      column: 1,
      found: 'no wording in any language',
      expected: 'a wording file',
      severity: 'problem',
    })
  }
  return problems

  function requireIds(
    steps: Placed<{ steps: Record<string, StepDocument> }>,
    advice: Placed<SourcesFile>,
    ids: ReadonlySet<string>,
    language: string,
    own: Placed<Wording> | undefined,
  ) {
    const need = (id: string, path: PropertyKey[], yaml = steps.yaml) => {
      if (ids.has(id)) return
      const nearest = nearestId(id, ids)
      problems.push({
        code: 'WORDING_MISSING',
        file: yaml.file,
        ...yaml.place(path),
        found: `no text "${id}" in ${language}`,
        expected: `a line "${id}: …" in ${own?.yaml.file ?? `a wording.${language}.yaml`}`,
        ...(nearest === undefined ? {} : { nearest }),
        severity: 'problem',
      })
    }
    for (const [id, step] of Object.entries(steps.value.steps)) {
      step.say?.forEach((ref, i) => {
        need(`say/${ref}`, ['steps', id, 'say', i])
      })
      if (step.page !== undefined) need(`reason/${step.page}`, ['steps', id, 'page'])
      if (step.note !== undefined) need(`note/${step.note}`, ['steps', id, 'note'])
      if (step.ask !== undefined) needQuestion(step.ask, ['steps', id, 'ask'], need)
    }
    for (const id of Object.keys(advice.value.advice)) need(`say/${id}`, ['advice', id], advice.yaml)
    for (const [id, item] of Object.entries(advice.value.advice)) {
      item.tags.forEach((tag, i) => {
        if (!(tag in sources.tags.value.tags)) {
          const nearest = nearestId(tag, Object.keys(sources.tags.value.tags))
          problems.push({
            code: 'UNKNOWN_ID',
            file: advice.yaml.file,
            ...advice.yaml.place(['advice', id, 'tags', i]),
            found: `unknown tag "${tag}"`,
            expected: 'a tag of shared/tags.yaml',
            ...(nearest === undefined ? {} : { nearest }),
            severity: 'problem',
          })
        }
      })
      item['rests-on']?.forEach((source, i) => {
        if (!(source in advice.value.sources) && !(source in sources.sharedSources.value.sources)) {
          const nearest = nearestId(source, [
            ...Object.keys(advice.value.sources),
            ...Object.keys(sources.sharedSources.value.sources),
          ])
          problems.push({
            code: 'UNKNOWN_ID',
            file: advice.yaml.file,
            ...advice.yaml.place(['advice', id, 'rests-on', i]),
            found: `unknown source "${source}"`,
            expected: 'a source of this file',
            ...(nearest === undefined ? {} : { nearest }),
            severity: 'problem',
          })
        }
      })
    }
  }

  function needQuestion(fact: string, path: PropertyKey[], need: (id: string, path: PropertyKey[]) => void) {
    const document = sources.facts.value.facts[fact]
    if (document === undefined) return
    need(`ask/${fact}`, path)
    need(`label/${fact}`, path)
    for (const value of [...(document.values ?? []), ...Object.keys(document.taps ?? {})])
      need(`option/${fact}/${value}`, path)
  }

  function untaggedActs(language: string): Problem[] {
    const found: Problem[] = []
    const files = [
      { sources: sources.sharedSources, wording: sources.sharedWording.get(language) },
      ...sources.flows.map(folder => ({ sources: folder.sources, wording: folder.wording.get(language) })),
    ]
    for (const { sources: advice, wording } of files) {
      if (wording === undefined) continue
      for (const [id, item] of Object.entries(advice.value.advice)) {
        const text = wording.value[`say/${id}`]
        if (text === undefined) continue
        for (const tag of instructedActs(text, language)) {
          if (!item.tags.includes(tag)) {
            found.push({
              code: 'TAG_MISSING',
              file: wording.yaml.file,
              ...wording.yaml.place([`say/${id}`]),
              found: `"${id}" tells someone to do what "${tag}" means`,
              expected: `the tag "${tag}" on the advice, or other words`,
              severity: 'problem',
            })
          }
        }
      }
    }
    return found
  }

  /** Hazardous tags whose words stand in a sentence that does not forbid them. */
  function instructedActs(text: string, language: string): string[] {
    const sentences = text.toLowerCase().split(/[.!?\n]+/)
    return Object.entries(sources.tags.value.tags)
      .filter(([, tag]) => tag.hazardous === true)
      .filter(([, tag]) =>
        (tag.words?.[language] ?? []).some(words => sentences.some(sentence => instructs(sentence, words))),
      )
      .map(([id]) => id)
  }
}

const FORBIDS = /\b(do not|don't|never|nothing|no|not|stop|without)\b/

/** Whether all the words stand in the sentence, and the part of it with the first, the verb, forbids nothing. */
function instructs(sentence: string, words: string): boolean {
  const [verb, ...others] = words
    .toLowerCase()
    .split(/\s+/)
    .map(word => new RegExp(`(?<![\\p{L}\\d])${word.replace(/[^\p{L}\d-]/gu, '')}`, 'u'))
  if (verb === undefined || !others.every(word => word.test(sentence))) return false
  return sentence.split(/[,;:]/).some(part => verb.test(part) && !FORBIDS.test(part))
}

function faultsOf(wording: Placed<Wording>, language: string): Problem[] {
  return Object.entries(wording.value).flatMap(([id, text]) =>
    textFaults(text, language).map(fault => ({
      code: 'WORDING_BROKEN',
      file: wording.yaml.file,
      ...wording.yaml.place([id]),
      found: `"${id}": ${fault}`,
      expected: 'a sound ICU MessageFormat text with known variables',
      severity: 'problem' as const,
    })),
  )
}
