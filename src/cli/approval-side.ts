/** Approving on the page: through the same desk as the command, so that the same is refused and the same is written down. */
import type { AccountStore } from '../accounts/account-store.ts'
import type { Wording } from '../channels/web-page.ts'
import type { ApprovalSaid, FlowsPorts } from '../http/console/flows-routes.ts'
import { type Clock, within } from '../runtime/clock.ts'
import type { Instant } from '../time/instant.ts'
import { type ApprovalDesk, approvalDesk, type Outcome } from './approval-desk.ts'
import type { ChangingLine } from './changing-line.ts'
import { walkInProcess } from './flow-verdict.ts'

/** A press is answered within this; a walk that takes longer goes on, and the page says so. */
const ANSWER_WITHIN_MS = 8_000

export interface ApprovalSideOptions {
  readonly clinicDir: string
  readonly changing: ChangingLine
  readonly clock: Clock
  readonly now: () => Instant
  readonly wording: Wording
  /** The audit trail; without it nothing is approved here. */
  readonly trail: () => AccountStore | undefined
  /** In place of a walk in a process of its own. */
  readonly walk?: Parameters<typeof approvalDesk>[0]['walk']
}

export interface ApprovalSide extends Pick<FlowsPorts, 'approve' | 'withdraw'> {
  /** What came of the last press about a part that took longer than its answer. */
  newsOf(part: string): string | undefined
}

export function approvalSide(options: ApprovalSideOptions): ApprovalSide {
  const { clinicDir, changing, wording } = options
  const news = new Map<string, string>()
  const desk: ApprovalDesk = approvalDesk({
    clinicDir,
    now: options.now,
    walk: options.walk ?? walkInProcess({ clinicDir }),
    async note(act) {
      const trail = options.trail()
      if (trail === undefined) throw new Error('there is no audit trail')
      await trail.change(act, [])
    },
  })

  async function said(work: Promise<Outcome>, part: string): Promise<ApprovalSaid> {
    news.set(part, wording('flows-walking'))
    const ended = work
      .then(outcome => {
        // What is approved now may be what the line waits for.
        if (outcome.kind === 'done') changing.look()
        return outcome.kind === 'done'
          ? { isDone: true, says: outcome.lines.join(' ') }
          : { isDone: false, says: outcome.why }
      })
      .catch(() => ({ isDone: false, says: wording('flows-not-kept') }))
    void ended.then(({ says }) => news.set(part, says))
    const first = await within<ApprovalSaid, undefined>(options.clock, ANSWER_WITHIN_MS, ended, undefined)
    if (first === undefined) return { isDone: true, says: wording('flows-walking') }
    news.delete(part)
    return first
  }

  return {
    newsOf: part => news.get(part),
    approve: ({ personId, roles, isOnCall }, part, hash, languages) => {
      const asked = { part, hash: hash === '' ? 'nothing-read' : hash, languages }
      return said(desk.approve({ personId, roles, isOnCall }, asked), part)
    },
    withdraw: ({ personId, roles, isOnCall }, part, why) =>
      said(desk.withdraw({ personId, roles, isOnCall }, part, why), part),
  }
}
