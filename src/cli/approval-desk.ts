import type { AuditAct } from '../accounts/audit.ts'
import { type Asking, mayDo } from '../accounts/authority.ts'
import { type ApprovalScope, SCOPES } from '../config/approval-file.ts'
import { approverFault } from '../config/approvals.ts'
import { nearestId } from '../flow/problem.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'
import { addApproval, addWithdrawal } from './approvals-folder.ts'
import { flowVerdict, type WalkFlow } from './flow-verdict.ts'
import { standings } from './guards.ts'
import { loadLine, type ReadLine } from './load-line.ts'
import { approvedSources, planRollBack, putBack } from './roll-back.ts'

/** Somebody whose roles are known: signed in, or named at a command line. */
export type Approver = Extract<Asking, { personId: string }>

export type Outcome =
  | { readonly kind: 'done'; readonly lines: readonly string[] }
  /** Nothing was changed; `why` says what to do. */
  | { readonly kind: 'refused'; readonly why: string }

/** Approving, withdrawing and putting back what families are told: for the command line and for the clinic's pages. */
export interface ApprovalDesk {
  standings(): readonly Stands[]
  /** May take minutes where the flow has not been walked before. */
  approve(who: Approver, wanted: ApprovalWanted): Promise<Outcome>
  withdraw(who: Approver, part: string, why: string): Promise<Outcome>
  /** @param isTrial  says what would be done, and does nothing */
  rollBack(who: Approver, part: string, why: string, isTrial?: boolean): Promise<Outcome>
}

export type Stands = ReturnType<typeof standings>[number]

export interface ApprovalWanted {
  readonly part: string
  /** Hash of what was read, whole or its beginning; refused where something else stands there. */
  readonly hash?: string | undefined
  /** Left out: all it is worded in. */
  readonly languages?: readonly string[] | undefined
  /** Left out: it does not end. */
  readonly until?: Instant | undefined
  /** Left out: steps and words. */
  readonly of?: readonly ApprovalScope[] | undefined
}

export interface DeskPorts {
  readonly clinicDir: string
  readonly flowsDir?: string
  now(): Instant
  readonly walk: WalkFlow
  /** Writes a line of the audit trail, before anything is changed. Throws where that cannot be done: then nothing is. */
  note(act: AuditAct): Promise<void>
}

export function approvalDesk(ports: DeskPorts): ApprovalDesk {
  const { clinicDir } = ports
  const flows = ports.flowsDir === undefined ? {} : { flowsDir: ports.flowsDir }
  const read = () => loadLine({ clinicDir, ...flows, at: ports.now() })
  let last: Promise<unknown> = Promise.resolve()

  let walked = 0
  const walk: WalkFlow = concern => {
    walked += 1
    return ports.walk(concern)
  }

  /** One after the other: two clinicians who press at once must not write over each other. */
  function inTurn<T>(work: () => Promise<T>): Promise<T> {
    const next = last.then(work)
    last = next.catch(() => undefined)
    return next
  }

  async function approve(who: Approver, wanted: ApprovalWanted): Promise<Outcome> {
    const found = partIn(read(), wanted.part)
    if ('why' in found) return refused(found.why)
    const { line, one, clinic } = found
    const languages = wanted.languages ?? one.subject.languages
    const why = notAllowed(who, 'approve-content', clinic) ?? whyNot(one, who.personId, languages, wanted, ports.now())
    if (why !== undefined) return refused(why)
    const walks = walked
    const rejection = await rejected(line, one.subject.id)
    if (rejection !== undefined) return refused(rejection)
    const { id, hash } = one.subject
    // A walk takes minutes: what was walked must still be what stands there.
    if (walked > walks && partHash(read(), id) !== hash)
      return refused(`${id} was changed while it was checked: read it again`)
    const at = ports.now()
    await ports.note({ at, who: who.personId, did: 'approved', on: id, ...beforeOf(one), after: hash })
    const files = approvedSources(clinicDir, ports.flowsDir, id)
    addApproval(
      clinicDir,
      { ...one.subject, ...(files === undefined ? {} : { files }) },
      {
        by: who.personId,
        at,
        languages,
        ...(wanted.until === undefined ? {} : { until: wanted.until }),
        ...(wanted.of === undefined ? {} : { of: wanted.of }),
      },
    )
    const isWhole = standings(clinicDir, [one.subject], clinic, at)[0]?.isApproved === true
    const readIn = languages.length === 0 ? '' : `, read in ${languages.join(', ')}`
    const scope =
      wanted.of === undefined || wanted.of.length === SCOPES.length ? '' : `, its ${wanted.of.join(' and ')} only`
    const ending = wanted.until === undefined ? '' : `, until ${new Date(wanted.until).toISOString()}`
    return done(
      `${nameOf(clinic, who.personId)} (${who.personId}) approves ${id} ${hash}${readIn}${scope}${ending}.`,
      isWhole
        ? 'Two clinicians have approved exactly this. Commit the folder "approvals" with the clinic file.'
        : 'It needs another clinician before it is served. Commit the folder "approvals" with the clinic file.',
    )
  }

  /** Why the checker does not let a part through; undefined where it does. */
  async function rejected(line: ReadLine, id: string): Promise<string | undefined> {
    const { clinic, flows: set, approvables } = line
    const fault = line.problems.find(({ severity, file }) => severity === 'problem' && file !== clinic.yaml?.file)
    if (fault !== undefined)
      return `the checker refuses the flows as they are: ${fault.file}:${fault.line} ${fault.found}; ${fault.expected} was expected. Mend that first: nothing that is refused can be approved`
    const concerns = [...(set?.flows.keys() ?? [])]
    const walked = id === 'settings' ? concerns : concerns.filter(concern => concern === id)
    for (const concern of walked) {
      const verdict = await flowVerdict({ clinicDir, ...flows, approvables, walk }, concern)
      if (!verdict.holds)
        return `the checker rejects it: ${verdict.found.join('; ')}. See the conversation with "smallhours check --flow ${concern}". What it rejects cannot be approved`
    }
    return undefined
  }

  async function withdraw(who: Approver, part: string, why: string): Promise<Outcome> {
    const found = partIn(read(), part)
    if ('why' in found) return refused(found.why)
    const { one, clinic } = found
    const { id, hash } = one.subject
    const no = notAllowed(who, 'withdraw-approval', clinic) ?? unreadable(one)
    if (no !== undefined) return refused(no)
    if (why.trim() === '') return refused('a reason was expected: whoever approved it must know what to look at')
    if (one.counted.length === 0)
      return refused(`nobody has approved ${id} as it stands there: there is nothing to withdraw`)
    const at = ports.now()
    await ports.note({ at, who: who.personId, did: 'approval-withdrawn', on: id, before: hash })
    addWithdrawal(clinicDir, id, { by: who.personId, at, hash, why: why.trim() })
    return done(
      `${nameOf(clinic, who.personId)} (${who.personId}) withdraws the approval of ${id} ${hash}.`,
      `It is not served at the next start. To go back to what was approved before: smallhours rollback ${id} --by ${who.personId}`,
    )
  }

  async function rollBack(who: Approver, part: string, why: string, isTrial = false): Promise<Outcome> {
    const line = read()
    const clinic = line.clinic.asRead
    if (clinic === undefined) return refused('the clinic file cannot be read: put that back first')
    const no = notAllowed(who, 'roll-back', clinic)
    if (no !== undefined) return refused(no)
    const at = ports.now()
    const plan = planRollBack({ clinicDir, ...flows, line, clinic, part, at })
    if ('why' in plan) return refused(plan.why)
    const said = [
      `${part} goes back to ${plan.to.slice(0, 12)}, approved by ${plan.by.map(id => nameOf(clinic, id)).join(' and ')}.`,
      ...plan.files.map(file => `  ${file}`),
    ]
    if (isTrial) return done(...said, 'Nothing was changed: this was a trial.')
    await ports.note({ at, who: who.personId, did: 'rolled-back', on: part, ...plan.before, after: plan.to })
    putBack(plan)
    if (plan.isApprovedNow && plan.before.before !== undefined)
      addWithdrawal(clinicDir, part, {
        by: who.personId,
        at,
        hash: plan.before.before,
        why: why.trim() || 'rolled back',
      })
    return done(
      ...said,
      'Put back. A line that runs takes it within seconds; look at its board. Commit the clinic folder.',
    )
  }

  return {
    standings() {
      const { clinic, approvables } = read()
      return clinic.asRead === undefined ? [] : standings(clinicDir, approvables, clinic.asRead, ports.now())
    },
    approve: (who, wanted) => inTurn(() => approve(who, wanted)),
    withdraw: (who, part, why) => inTurn(() => withdraw(who, part, why)),
    rollBack: (who, part, why, isTrial) => inTurn(() => rollBack(who, part, why, isTrial)),
  }

  function partIn(line: ReadLine, id: string): Part | { readonly why: string } {
    const clinic = line.clinic.asRead
    if (clinic === undefined || line.flows === undefined)
      return { why: 'clinic file or flows cannot be read: "smallhours clinic" names each fault' }
    const one = standings(clinicDir, line.approvables, clinic, ports.now()).find(({ subject }) => subject.id === id)
    if (one !== undefined) return { line, clinic, one }
    const ids = line.approvables.map(part => part.id)
    const nearest = nearestId(id, ids)
    return {
      why: `"${id}" is no part to approve; the parts are ${ids.join(', ')}${nearest === undefined ? '' : `; did you mean "${nearest}"?`}`,
    }
  }
}

interface Part {
  readonly line: ReadLine
  readonly clinic: Clinic
  readonly one: Stands
}

const refused = (why: string): Outcome => ({ kind: 'refused', why })
const done = (...lines: string[]): Outcome => ({ kind: 'done', lines })
const nameOf = (clinic: Clinic, id: string): string => clinic.people.find(one => one.id === id)?.name ?? id
const partHash = ({ approvables }: ReadLine, id: string) => approvables.find(part => part.id === id)?.hash

/** What the same person or another had approved last, where that was another content. */
function beforeOf({ withdrawn }: Stands): { readonly before?: string } {
  const before = withdrawn.at(-1)?.hash
  return before === undefined ? {} : { before }
}

/** Why this person may not, and what to do; undefined where they may. */
function notAllowed(
  { personId, roles, isOnCall }: Approver,
  action: 'approve-content' | 'withdraw-approval' | 'roll-back',
  { people }: Clinic,
): string | undefined {
  const person = people.find(({ id }) => id === personId)
  if (person === undefined) {
    const ids = people.map(({ id }) => id)
    return `"${personId}" does not stand under people in the clinic file: write the id of a person, such as ${nearestId(personId, ids) ?? ids[0] ?? 'amara'}`
  }
  const fault = approverFault(person)
  if (fault !== undefined) return `"${personId}" may not approve: ${fault.expected} was expected. ${fault.todo}`
  if (mayDo({ personId, roles, isOnCall }, action)) return undefined
  return `"${personId}" may not approve: the role lead was expected. Write it at this person in the clinic file, or have a clinic lead do it`
}

function unreadable({ isReadable, refusals }: Stands): string | undefined {
  const fault = isReadable ? undefined : refusals.find(({ code }) => code !== 'NOT_APPROVED')
  return fault === undefined ? undefined : `${fault.where} cannot be read: ${fault.todo}`
}

/** Why this cannot be approved by this person now, and what to do; undefined where it can. */
function whyNot(
  one: Stands,
  by: string,
  languages: readonly string[],
  { hash, until }: ApprovalWanted,
  now: Instant,
): string | undefined {
  const { subject, counted } = one
  const no = unreadable(one)
  if (no !== undefined) return no
  if (counted.some(each => each.by === by))
    return `"${by}" has approved exactly this already; another clinician is needed`
  if (hash !== undefined && (hash.length < 12 || !subject.hash.startsWith(hash)))
    return `what was read has the hash ${hash}, and what stands here has ${subject.hash}: read it again with "smallhours approve ${subject.id} --show"`
  const strange = languages.find(language => !subject.languages.includes(language))
  if (strange !== undefined)
    return `there are no words in "${strange}": one of ${subject.languages.join(', ')} was expected`
  if (until !== undefined && until <= now)
    return `an approval that ended at ${new Date(until).toISOString()} counts for nothing: an end that lies ahead was expected`
  return undefined
}
