/** The page of the audit trail, from the file of accounts. */
import type { AccountStore } from '../accounts/account-store.ts'
import { type AuditLine, auditFaults, DEEDS } from '../accounts/audit.ts'
import { ROLES } from '../accounts/authority.ts'
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import type { TrailRow } from '../http/console/trail-page.ts'
import type { TrailPorts } from '../http/console/trail-routes.ts'
import type { Instant } from '../time/instant.ts'
import { momentText } from './now-view.ts'

/** Lines on one page. */
const SHOWN_MOST = 100
/** Faults told on the page, at most: one is enough to take the command. */
const FAULTS_MOST = 8
/** Signs of a hash that are shown. */
const HASH_SIGNS = 12

export interface TrailSideOptions {
  readonly store: () => AccountStore | undefined
  readonly line: () => Line
  readonly now: () => Instant
  readonly wording: Wording
}

export function trailSide({ store, line, now, wording }: TrailSideOptions): TrailPorts {
  const nameOf = (id: string): string =>
    id === 'machine' || id === 'nobody'
      ? wording(`trail-who-${id}`)
      : (line().clinic.people.find(person => person.id === id)?.name ?? id)

  /** A deed that a newer program wrote, or that lacks its words, is shown by its id: the trail must stay readable. */
  function didText(did: string): string {
    try {
      return wording(`trail-did-${did}`)
    } catch {
      return did
    }
  }

  const roleSaid = (role: string): string => (ROLES.some(each => each === role) ? wording(`clinic-role-${role}`) : role)

  function rowOf({ line: number, at, who, did, on, before, after }: AuditLine): TrailRow {
    const short = (value: string | undefined): string => {
      if (value === undefined || value === '') return wording('trail-nothing')
      if (did === 'roles-changed') return value.split(/[, ]+/).map(roleSaid).join(', ')
      return /^[0-9a-f]{64}$/.test(value) ? value.slice(0, HASH_SIGNS) : value
    }
    const change =
      before === undefined && after === undefined
        ? {}
        : { change: wording('trail-change', { from: short(before), until: short(after) }) }
    return {
      ...{ line: number, when: momentText(line(), at, now()), who: nameOf(who), did: didText(did) },
      ...{ on: nameOf(on), ...change },
    }
  }

  async function verified(lines: readonly AuditLine[]) {
    const faults = auditFaults(lines, await store()?.auditHead())
    if (faults.length === 0) return { isWhole: true, says: [wording('trail-whole')] }
    const shown = faults.slice(0, FAULTS_MOST).map(({ found }) => found)
    return { isWhole: false, says: [wording('trail-broken'), ...shown] }
  }

  return {
    async trail(asked, before) {
      const lines = (await store()?.audit()) ?? []
      const fits = ({ who, did, line: number }: AuditLine) =>
        (asked.who === '' || who === asked.who) &&
        (asked.did === '' || did === asked.did) &&
        (before === undefined || number < before)
      const wanted = lines.filter(fits)
      const shown = wanted.slice(-SHOWN_MOST).toReversed()
      const last = lines.at(-1)
      const oldest = shown.at(-1)
      const hasEarlier = wanted.length > shown.length && oldest !== undefined
      return {
        verified: await verified(lines),
        ...(last === undefined ? {} : { head: `${last.line}:${last.hash}` }),
        people: [...new Set(lines.map(({ who }) => who))].toSorted().map(who => ({ value: who, label: nameOf(who) })),
        deeds: DEEDS.map(did => ({ value: did, label: didText(did) })),
        asked,
        rows: shown.map(rowOf),
        ...(hasEarlier
          ? { earlier: `/trail?${new URLSearchParams({ ...asked, before: String(oldest.line) }).toString()}` }
          : {}),
      }
    },
    async exported({ personId }) {
      const trail = store()
      if (trail === undefined) throw new Error('there is no audit trail')
      await trail.change({ at: now(), who: personId, did: 'audit-exported', on: 'from 1' }, [])
      return (await trail.audit()).map(line => `${JSON.stringify(line)}\n`).join('')
    },
  }
}
