/** The page of the safety rules, made from flows/rules. */

import type { FlowFiles } from '../flow/load.ts'
import { type RuleDocument, rulesFileSchema } from '../flow/rule-document.ts'
import { listOf } from '../flow/rule-load.ts'
import { readYaml } from '../flow/yaml-places.ts'
import { cell } from './schema-table.ts'

const FORMS = ['absence', 'universality', 'existence', 'precedence', 'response'] as const

/** Paragraphs of docs/rules/rules.md. */
export function rulesPage(files: FlowFiles): readonly string[] {
  const documents = [...files].filter(([path]) => path.startsWith('rules/')).toSorted(([a], [b]) => (a < b ? -1 : 1))
  const parts = documents.flatMap(([path, text]) => {
    const { yaml } = readYaml(path, text)
    const { rules = {}, worse = {} } = rulesFileSchema.parse(yaml?.value ?? {})
    return [...sectionOf(path, rules), ...orders(worse)]
  })
  return [
    '# Safety rules',
    'What must hold in every conversation, with any timing, silence, change of mind and clinician who cannot be reached. `smallhours check` walks the flows and looks for a conversation that breaks one; a broken rule is shown by a shortest one. **No clinician has approved these rules.** A clinic reads, changes and adds to them in `flows/rules`.',
    'Each rule has one of the published forms of properties: absence, universality, existence, precedence, response (Dwyer, Avrunin and Corbett, *Patterns in property specifications for finite-state verification*, 1999), a response with a bound in time as in Konrad and Cheng, *Real-time specification patterns*, 2005. What the walk cannot express is listed in [what is shown elsewhere](elsewhere.md).',
    ...parts,
  ]
}

function sectionOf(path: string, rules: Readonly<Record<string, RuleDocument>>): readonly string[] {
  const rows = Object.entries(rules).map(([id, rule]) => {
    const form = FORMS.find(each => rule[each] !== undefined) ?? ''
    const was = rule.was === undefined ? '' : ` (${rule.was})`
    const basis = [...listOf(rule.sources).map(source => `[${source}]`), ...listOf(rule.practice), ...listOf(rule.own)]
    const notYet = rule['not-yet'] === undefined ? '' : ` *Not yet: ${rule['not-yet']}.*`
    const flows = rule.flows === undefined ? '' : ` In ${rule.flows.join(', ')}.`
    const awaits = rule.awaits === undefined ? '' : ` *Pending without a flow for ${rule.awaits.join(' or ')}.*`
    const because = `${rule.reason}${flows}${notYet}${awaits}`
    return `| \`${id}\`${was} | ${cell(rule.means)} | ${form} | ${cell(because)} | ${rule.hazards.join(', ')} | ${cell(basis.join(', '))} |`
  })
  if (rows.length === 0) return []
  const head = '| rule | what must hold | form | why | hazards | rests on |\n|---|---|---|---|---|---|'
  return [`## \`${path}\``, [head, ...rows].join('\n')]
}

function orders(worse: Readonly<Record<string, readonly (readonly string[])[]>>): readonly string[] {
  const rows = Object.entries(worse).map(
    ([fact, groups]) =>
      `| \`${fact}\` | ${groups.map(group => group.map(value => `\`${value}\``).join(', ')).join(' → ')} |`,
  )
  if (rows.length === 0) return []
  return [
    '## Which answers are worse',
    'All else equal, a worse answer never leads to a milder disposition, and "not sure" never to a milder one than the value it acts as.',
    ['| fact | from the mildest to the worst |', '|---|---|', ...rows].join('\n'),
  ]
}
