import { SCOPES } from '../config/approval-file.ts'
import { approverFault } from '../config/approvals.ts'
import { changeText } from '../flow/content-changes.ts'
import { nearestId } from '../flow/problem.ts'
import type { Clinic } from '../oncall/clinic.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { type Instant, instant } from '../time/instant.ts'
import type { ApprovalWanted, Outcome, Stands } from './approval-desk.ts'
import { approvalPage } from './approval-page.ts'
import { type ApprovedSince, approvedSince } from './approved-since.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { tellConversations } from './conversations-told.ts'
import { atDesk } from './desk-at-hand.ts'
import { standings } from './guards.ts'
import { DEMO_CLINIC, loadLine } from './load-line.ts'
import { reportProblems } from './problems.ts'

export const approveCommand: Command = {
  name: 'approve',
  summary:
    'what two clinicians must have approved, what changed since, and their approval: "approve", "approve PART --by ID"',
  usage:
    'smallhours approve [--clinic FOLDER] [--flows FOLDER] [--json]\n' +
    'smallhours approve PART [--show | --conversations] [--clinic FOLDER] [--json]\n' +
    'smallhours approve PART --by ID [--languages en,es] [--hash HASH] [--until DATE] [--only steps|words] [--clinic FOLDER] [--data FOLDER]\n' +
    'smallhours approve PART --by ID --withdraw REASON [--clinic FOLDER] [--data FOLDER]',
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      flows: { type: 'string' },
      by: { type: 'string' },
      languages: { type: 'string' },
      hash: { type: 'string' },
      until: { type: 'string' },
      only: { type: 'string' },
      withdraw: { type: 'string' },
      data: { type: 'string' },
      show: { type: 'boolean', default: false },
      conversations: { type: 'boolean', default: false },
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
    const since = approvedSince(one, { clinicDir, clinic, at })
    if (values.conversations) {
      if (values.by !== undefined) throw new CalledWrongly('--conversations only looks: it goes without --by')
      return tellConversations({ clinicDir, flowsDir: values.flows, read, part: id, since, at }, values.json)
    }
    if (values.by === undefined) return tell(one, since, clinic, values)
    const wanted = wantedBy(one.subject.id, values)
    const { by, withdraw, data, flows: flowsDir } = values
    return tellOutcome(
      'approve',
      await atDesk({ clinicDir, clinic, by, data, flowsDir }, (desk, who) =>
        withdraw === undefined ? desk.approve(who, wanted) : desk.withdraw(who, one.subject.id, withdraw),
      ),
      changesFor(since, clinic, by),
    )
  },
}

/** Names of those whose approval counts. */
const whoApproved = ({ counted }: Stands, clinic: Clinic): string[] =>
  counted.map(({ by, at, until, of }) => {
    const ending = until === undefined ? '' : ` until ${dayOf(until)}`
    const scope = of.length === SCOPES.length ? '' : ` (its ${of.join(' and ')} only)`
    return `${nameOf(clinic, by)} (${by}) on ${dayOf(at)}${ending}${scope}`
  })

const dayOf = (at: Instant): string => new Date(at).toISOString().slice(0, 10)

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
      print(
        `    ${hash === subject.hash ? 'withdrawn' : 'withdrawn, since it changed'}: ${nameOf(clinic, who)} (${who}) of ${hash.slice(0, 12)}`,
      )
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
  const told = ({ by, at, hash: content, languages: readIn, until, of }: Stands['counted'][number]) => ({
    by,
    name: nameOf(clinic, by),
    at: new Date(at).toISOString(),
    hash: content,
    languages: readIn,
    of,
    ...(until === undefined ? {} : { until: new Date(until).toISOString() }),
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
  one: Stands,
  changes: ApprovedSince | undefined,
  clinic: Clinic,
  { show, json }: { show: boolean; json: boolean },
): number {
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

function changesText({ by, changes }: ApprovedSince, clinic: Clinic): string {
  const since = `since ${by.map(id => `${nameOf(clinic, id)} (${id})`).join(' and ')} approved it`
  if (changes.length === 0) return `Nothing has changed ${since}.`
  return [`${changes.length} changes ${since}:`, ...changes.map(changeText)].join('\n')
}

interface ApproveValues {
  readonly languages?: string | undefined
  readonly hash?: string | undefined
  readonly until?: string | undefined
  readonly only?: string | undefined
}

function wantedBy(part: string, { languages, hash, until, only }: ApproveValues): ApprovalWanted {
  const scope = SCOPES.find(one => one === only)
  if (only !== undefined && scope === undefined)
    throw new CalledWrongly(`--only ${only}: one of ${SCOPES.join(', ')} was expected`)
  return {
    part,
    hash,
    ...(languages === undefined ? {} : { languages: languages.split(',') }),
    ...(until === undefined ? {} : { until: dateSaid(until) }),
    ...(scope === undefined ? {} : { of: [scope] }),
  }
}

/** The end of a day in UTC: an approval holds on the day it names. */
function dateSaid(said: string): Instant {
  const at = /^\d{4}-\d{2}-\d{2}$/.test(said) ? Date.parse(`${said}T23:59:59Z`) : Number.NaN
  if (Number.isNaN(at)) throw new CalledWrongly(`--until ${said}: a date was expected, such as 2027-03-01`)
  return instant(at)
}

/** What changed since another's approval: said to whoever approves next. */
const changesFor = (changes: ApprovedSince | undefined, clinic: Clinic, by: string): readonly string[] =>
  changes === undefined || changes.by.every(one => one === by) ? [] : [changesText(changes, clinic)]

/** Prints how an act went; `first` before it where it was done. */
export function tellOutcome(command: string, outcome: Outcome, first: readonly string[] = []): number {
  if (outcome.kind === 'refused') {
    complain(`${command}: ${outcome.why}`)
    return 1
  }
  for (const line of [...first, ...outcome.lines]) print(line)
  return 0
}
