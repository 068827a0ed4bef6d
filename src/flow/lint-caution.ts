/** Whom to ring if it gets worse: what can be seen of it without a conversation. */
import { DISPOSITIONS, type StepDocument } from './document.ts'
import type { FlowSources, LintSources, Placed } from './flow-sources.ts'
import type { Problem } from './problem.ts'
import { variablesOf } from './wording.ts'

/**
 * One shared piece of advice closes the replies that ask for an act and name no number, and it names one in every language. A
 * step that decides on an ambulance says a number itself.
 */
export function checkCautions(sources: FlowSources, lint: LintSources): Problem[] {
  const numbers = lint.rules.value.numbers
  return [
    ...closingFaults(sources, numbers),
    ...sources.flows.flatMap(folder => closesApart(folder.sources)),
    ...silentAmbulances(sources, sources.sharedSteps, 'shared', numbers),
    ...sources.flows.flatMap(folder => silentAmbulances(sources, folder.flow, folder.name, numbers)),
  ]
}

function closingFaults(sources: FlowSources, numbers: readonly string[]): Problem[] {
  const { value, yaml } = sources.sharedSources
  const all = [value.advice, ...sources.flows.map(({ sources }) => sources.value.advice)]
  const asksForActs = all.some(advice => Object.values(advice).some(({ tags }) => tags.length > 0))
  const closing = closingIn(value.advice)
  if (!asksForActs) return []
  if (closing.length !== 1) {
    return [
      {
        ...missing(yaml, ['advice', ...closing.slice(1, 2)]),
        found: `${closing.length} pieces of advice with "closes-replies"`,
        expected: 'one in the shared sources: it names the number to ring where a reply asks for an act and has none',
      },
    ]
  }
  return [...sources.sharedWording].flatMap(([language, wording]) => {
    const id = `say/${closing[0]}`
    const text = wording.value[id]
    if (text === undefined || hasNumber(text, numbers)) return []
    return [
      {
        ...missing(wording.yaml, [id]),
        found: `"${id}" closes replies and names no number in ${language}`,
        expected: `one of ${numbers.map(name => `{${name}}`).join(', ')} in it`,
      },
    ]
  })
}

function closesApart(sources: FlowSources['sharedSources']): Problem[] {
  return closingIn(sources.value.advice).map(id => ({
    ...missing(sources.yaml, ['advice', id]),
    found: `"${id}" with "closes-replies" in a flow, where it closes nothing`,
    expected: 'it in the shared sources',
  }))
}

const closingIn = (advice: FlowSources['sharedSources']['value']['advice']): string[] =>
  Object.entries(advice).flatMap(([id, one]) => (one['closes-replies'] === true ? [id] : []))

/** Steps that decide on an ambulance and say no number, in any language of their folder. */
function silentAmbulances(
  sources: FlowSources,
  steps: Placed<{ steps: Record<string, StepDocument> }>,
  folder: string,
  numbers: readonly string[],
): Problem[] {
  const own = folder === 'shared' ? undefined : sources.flows.find(({ name }) => name === folder)
  const languages = new Set([...sources.sharedWording.keys(), ...(own?.wording.keys() ?? [])])
  return Object.entries(steps.value.steps)
    .filter(([, step]) => step.decide === DISPOSITIONS[0])
    .flatMap(([id, step]) =>
      [...languages]
        .filter(language => {
          const texts = (step.say ?? []).map(
            one =>
              own?.wording.get(language)?.value[`say/${one}`] ??
              sources.sharedWording.get(language)?.value[`say/${one}`],
          )
          // A text that is lacking is told elsewhere, where its language is served.
          return texts.every(text => text !== undefined && !hasNumber(text, numbers))
        })
        .map(language => ({
          ...missing(steps.yaml, ['steps', id, 'decide']),
          found: `step "${id}" decides on an ambulance and says no number to ring in ${language}`,
          expected: `advice under "say" with one of ${numbers.map(name => `{${name}}`).join(', ')} in it`,
        })),
    )
}

function hasNumber(text: string, numbers: readonly string[]): boolean {
  try {
    return variablesOf(text).some(name => numbers.includes(name))
  } catch {
    // No message format: told elsewhere.
    return true
  }
}

const missing = (yaml: Placed<unknown>['yaml'], path: PropertyKey[]) => ({
  code: 'CAUTION_MISSING',
  file: yaml.file,
  ...yaml.place(path),
  severity: 'problem' as const,
})
