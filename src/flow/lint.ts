/** What the wording may not lack: every id in every language, sound texts, a caution with a number to ring. */

import type { SourcesFile, StepDocument, Wording } from './document.ts'
import type { FlowSources, Placed } from './flow-sources.ts'
import { nearestId, type Problem } from './problem.ts'
import { textFaults } from './wording.ts'
import type { PlacedYaml } from './yaml-places.ts'

/**
 * Problems of all wording files of a folder set. In a language that is served nothing may be lacking; one that is not served
 * may be half written.
 */
export function checkWording(sources: FlowSources, served: readonly string[]): Problem[] {
  const { sharedWording, flows } = sources
  const screens: ReadonlyMap<string, Placed<Wording>> = sources.lint?.screens ?? new Map()
  const problems: Problem[] = [sharedWording, ...flows.map(flow => flow.wording)].flatMap(wordings =>
    [...wordings].flatMap(([language, wording]) => faultsOf(wording, language)),
  )
  for (const language of served) {
    const shared = sharedWording.get(language)
    const sharedIds = new Set(Object.keys(shared?.value ?? {}))
    requireIds(sources.sharedSteps, sources.sharedSources, sharedIds, language, shared)
    for (const folder of flows) {
      const own = folder.wording.get(language)
      const ids = new Set([...sharedIds, ...Object.keys(own?.value ?? {})])
      requireIds(folder.flow, folder.sources, ids, language, own)
      problems.push(...idsLacking(folder.wording, language, `${folder.name}/wording`))
    }
    problems.push(...idsLacking(sharedWording, language, 'shared/wording'))
    problems.push(...idsLacking(screens, language, 'shared/wording.screen'))
  }
  if (sharedWording.size === 0) {
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
 * Texts that another language of a file has and this one lacks. Without this a withdrawal ("Stop: …") that is missing in one
 * language would be passed over in silence.
 */
function idsLacking(wordings: ReadonlyMap<string, Placed<Wording>>, language: string, file: string): Problem[] {
  const own = wordings.get(language)?.value ?? {}
  const elsewhere = new Map<string, PlacedYaml>()
  for (const { value, yaml } of wordings.values())
    for (const id of Object.keys(value)) if (!(id in own)) elsewhere.set(id, elsewhere.get(id) ?? yaml)
  return [...elsewhere].map(([id, yaml]) => ({
    code: 'WORDING_MISSING',
    file: yaml.file,
    ...yaml.place([id]),
    found: `text "${id}", which ${language} lacks`,
    expected: `a line "${id}: …" in ${file}.${language}.yaml`,
    severity: 'problem' as const,
  }))
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
