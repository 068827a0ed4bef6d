/** What the wording may not lack: every id in every language, sound texts, a caution with a number to ring. */

import type { SourcesFile, StepDocument, Wording } from './document.ts'
import type { FlowSources, Placed } from './flow-sources.ts'
import { nearestId, type Problem } from './problem.ts'
import { textFaults } from './wording.ts'

/**
 * Problems of all wording files of a folder set. A flow that has no file at all in a language is told only where the language
 * is `served`: until then it may be written.
 */
export function checkWording(sources: FlowSources, served: readonly string[] = []): Problem[] {
  const problems: Problem[] = []
  const languages = new Set([
    ...served,
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
      if (own === undefined && folder.wording.size > 0 && !served.includes(language)) continue
      if (own !== undefined) problems.push(...faultsOf(own, language))
      const ids = new Set([...sharedIds, ...Object.keys(own?.value ?? {})])
      requireIds(folder.flow, folder.sources, ids, language, own)
    }
  }
  problems.push(...idsApart(sources.sharedWording, 'shared/wording'))
  problems.push(...idsApart(sources.lint?.screens ?? new Map(), 'shared/wording.screen'))
  for (const folder of sources.flows) problems.push(...idsApart(folder.wording, `${folder.name}/wording`))
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
}

/**
 * A text that one language of a file has and another lacks. Without this a withdrawal ("Stop: …") that is missing in one language
 * would be passed over in silence.
 */
function idsApart(wordings: ReadonlyMap<string, Placed<Wording>>, file: string): Problem[] {
  const first = new Map<string, Placed<Wording>>()
  for (const wording of wordings.values())
    for (const id of Object.keys(wording.value)) if (!first.has(id)) first.set(id, wording)
  return [...wordings].flatMap(([language, { value }]) =>
    [...first].flatMap(([id, { yaml }]) =>
      id in value
        ? []
        : [
            {
              code: 'WORDING_MISSING' as const,
              file: yaml.file,
              ...yaml.place([id]),
              found: `text "${id}", which ${language} lacks`,
              expected: `a line "${id}: …" in ${file}.${language}.yaml`,
              severity: 'problem' as const,
            },
          ],
    ),
  )
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
