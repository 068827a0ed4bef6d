import { approverFault } from '../config/approvals.ts'
import { changeText, contentChanges } from '../flow/content-changes.ts'
import { nearestId } from '../flow/problem.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { systemClock } from '../runtime/system-clock.ts'
import type { Instant } from '../time/instant.ts'
import type { Approvable } from './approvable.ts'
import { approvalPage } from './approval-page.ts'
import { addApproval, approvedContent } from './approvals-folder.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { standings } from './guards.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'

type Stands = ReturnType<typeof standings>[number]

export const approveCommand: Command = {
  name: 'approve',
  summary:
    'what two clinicians must have approved, what changed since, and their approval: "approve", "approve PART --by ID"',
  usage:
    'smallhours approve [--clinic FOLDER] [--flows FOLDER] [--json]\n' +
    'smallhours approve PART [--show] [--clinic FOLDER] [--json]\n' +
    'smallhours approve PART --by ID [--languages en,es] [--hash HASH] [--clinic FOLDER]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      by: { type: 'string' },
      languages: { type: 'string' },
      hash: { type: 'string' },
      show: { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const at = systemClock().now()
    const clinicDir = values.clinic
    const read = loadLine({ clinicDir, ...(values.flows === undefined ? {} : { flowsDir: values.flows }), at })
    if (read.clinic.asRead === undefined || read.flows === undefined) {
      reportProblems(read.problems)
      return 1
    }
    const clinic = read.clinic.asRead
    const all = standings(clinicDir, read.approvables, clinic, at)
    const [id, ...more] = positionals
    if (more.length > 0) throw new CalledWrongly(`one part at a time was expected, not "${positionals.join(' ')}"`)
    if (id === undefined) {
      if (values.by !== undefined)
        throw new CalledWrongly('--by needs the part that is approved: nobody approves everything at once')
      return list(all, clinic, values.json)
    }
    const one = all.find(({ subject }) => subject.id === id)
    if (one === undefined) {
      const ids = all.map(({ subject }) => subject.id)
      const nearest = nearestId(id, ids)
      throw new CalledWrongly(
        `"${id}" is no part to approve; the parts are ${ids.join(', ')}${nearest === undefined ? '' : `; did you mean "${nearest}"?`}`,
      )
    }
    if (values.by === undefined) return tell(clinicDir, one, clinic, values)
    return approve({
      clinicDir,
      one,
      clinic,
      at,
      by: values.by,
      languages: values.languages?.split(','),
      hash: values.hash,
    })
  },
}

/** Names of those whose approval counts. */
const whoApproved = ({ counted }: Stands, clinic: Clinic): string[] =>
  counted.map(({ by, at }) => `${nameOf(clinic, by)} (${by}) on ${new Date(at).toISOString().slice(0, 10)}`)

const nameOf = (clinic: Clinic, id: string): string => clinic.people.find(one => one.id === id)?.name ?? id

function list(all: readonly Stands[], clinic: Clinic, isJson: boolean): number {
  const isApproved = all.every(one => one.isApproved)
  if (isJson) {
    print(JSON.stringify(all.map(one => documentOf(one, clinic))))
    return isApproved ? 0 : 1
  }
  for (const one of all) {
    const { subject, withdrawn, refusals } = one
    const by = whoApproved(one, clinic)
    print(
      `${one.isApproved ? 'approved    ' : 'NOT APPROVED'} ${subject.id}  ${subject.hash.slice(0, 12)}  ${subject.title}`,
    )
    print(`    by: ${by.length === 0 ? 'nobody yet' : by.join(', ')}`)
    for (const { by: who, hash } of withdrawn)
      print(`    withdrawn, since it changed: ${nameOf(clinic, who)} (${who}) of ${hash.slice(0, 12)}`)
    for (const refusal of refusals) print(`    ${refusal.code}: ${refusal.found}\n    Do: ${refusal.todo}`)
  }
  const may = clinic.people.filter(person => approverFault(person) === undefined).map(({ id }) => id)
  print(
    `Who may approve: ${may.length === 0 ? 'nobody; write "approves: yes" at two clinicians in the clinic file' : may.join(', ')}`,
  )
  return isApproved ? 0 : 1
}

function documentOf({ subject, isApproved, counted, withdrawn, refusals }: Stands, clinic: Clinic) {
  const { id, title, hash, languages } = subject
  const told = ({ by, at, hash: of, languages: readIn }: Stands['counted'][number]) => ({
    by,
    name: nameOf(clinic, by),
    at: new Date(at).toISOString(),
    hash: of,
    languages: readIn,
  })
  return {
    id,
    title,
    hash,
    languages,
    approved: isApproved,
    by: counted.map(told),
    withdrawn: withdrawn.map(told),
    refusals,
  }
}

function tell(
  clinicDir: string,
  one: Stands,
  clinic: Clinic,
  { show, json }: { show: boolean; json: boolean },
): number {
  const changes = changesSince(clinicDir, one)
  if (json) {
    print(
      JSON.stringify({
        ...documentOf(one, clinic),
        changes: changes?.changes ?? null,
        content: JSON.parse(one.subject.text),
      }),
    )
    return one.isApproved ? 0 : 1
  }
  list([one], clinic, false)
  print(changes === undefined ? 'Nothing of it was approved before.' : changesText(changes, clinic))
  if (show) print(`\n${approvalPage(one.subject)}`)
  else if (!one.isApproved) print(`To read all of it: smallhours approve ${one.subject.id} --show`)
  return one.isApproved ? 0 : 1
}

interface Since {
  readonly by: string
  readonly changes: ReturnType<typeof contentChanges>
}

/** What is not as the last approval had it; undefined where there is no approval whose content was kept. */
function changesSince(clinicDir: string, { subject, counted, withdrawn }: Stands): Since | undefined {
  const latest = [...counted, ...withdrawn].toSorted((a, b) => b.at - a.at)
  for (const { by, hash } of latest) {
    const text = approvedContent(clinicDir, hash)
    if (text !== undefined) return { by, changes: contentChanges(JSON.parse(text), JSON.parse(subject.text)) }
  }
  return undefined
}

function changesText({ by, changes }: Since, clinic: Clinic): string {
  const since = `since ${nameOf(clinic, by)} (${by}) approved it`
  if (changes.length === 0) return `Nothing has changed ${since}.`
  return [`${changes.length} changes ${since}:`, ...changes.map(changeText)].join('\n')
}

interface Approving {
  readonly clinicDir: string
  readonly one: Stands
  readonly clinic: Clinic
  readonly at: Instant
  readonly by: string
  readonly languages: readonly string[] | undefined
  readonly hash: string | undefined
}

function approve({ clinicDir, one, clinic, at, by, languages: said, hash }: Approving): number {
  const { subject } = one
  const languages = said ?? subject.languages
  const refusal = whyNot(one, clinic, by, languages, hash)
  if (refusal !== undefined) {
    complain(`approve: ${refusal}`)
    return 1
  }
  const changes = changesSince(clinicDir, one)
  if (changes !== undefined && changes.by !== by) print(changesText(changes, clinic))
  addApproval(clinicDir, subject, { by, at, languages })
  const left = standings(clinicDir, [subject as Approvable], clinic, at)[0]
  print(
    `${nameOf(clinic, by)} (${by}) approves ${subject.id} ${subject.hash}${languages.length === 0 ? '' : `, read in ${languages.join(', ')}`}.`,
  )
  print(
    left?.isApproved === true
      ? 'Two clinicians have approved exactly this. Commit the folder "approvals" with the clinic file.'
      : 'It needs another clinician before it is served. Commit the folder "approvals" with the clinic file.',
  )
  return 0
}

/** Why this person cannot approve this now, and what to do; undefined where they can. */
function whyNot(
  { subject, counted, isReadable, refusals }: Stands,
  clinic: Clinic,
  by: string,
  languages: readonly string[],
  hash: string | undefined,
): string | undefined {
  const ids = clinic.people.map(({ id }) => id)
  const person = clinic.people.find(({ id }) => id === by)
  if (person === undefined) {
    const nearest = nearestId(by, ids)
    return `"${by}" does not stand under people in the clinic file: write the id of a person, such as ${nearest ?? ids[0] ?? 'amara'}`
  }
  const fault = approverFault(person)
  if (fault !== undefined) return `"${by}" may not approve: ${fault.expected} was expected. ${fault.todo}`
  const unreadable = isReadable ? undefined : refusals.find(({ code }) => code !== 'NOT_APPROVED')
  if (unreadable !== undefined) return `${unreadable.where} cannot be read: ${unreadable.todo}`
  if (counted.some(one => one.by === by))
    return `"${by}" has approved exactly this already; another clinician is needed`
  if (hash !== undefined && (hash.length < 12 || !subject.hash.startsWith(hash)))
    return `what was read has the hash ${hash}, and what stands here has ${subject.hash}: read it again with "smallhours approve ${subject.id} --show"`
  const strange = languages.find(language => !subject.languages.includes(language))
  if (strange !== undefined)
    return `there are no words in "${strange}": one of ${subject.languages.join(', ')} was expected`
  return undefined
}
