import { describe, expect, it } from 'vitest'
import { ACTIONS, type Action, AUTHORITY, mayDo, ROLES, type Role, rolesThatMay } from '../../src/accounts/authority.ts'

const person = (roles: readonly Role[], isOnCall = false) => ({ personId: 'amara', roles, isOnCall })

/**
 * The table once more, written out by hand and not from the code: who may at most, with everything in their favour (on call,
 * about themselves, a closed case). OWASP ASVS 5.0.0, V8.1.1: rules of access are written down; V8.2.1 to V8.2.3: checked.
 */
const AT_MOST: Readonly<Record<Action, string>> = {
  'see-board': 'on-call lead administrator',
  'see-case': 'on-call lead reviewer link',
  'answer-case': 'on-call lead link',
  'see-photos': 'on-call lead',
  'hand-over': 'on-call lead',
  'print-tonight': 'on-call lead administrator',
  'close-line': 'on-call lead administrator',
  'see-on-call': 'on-call lead reviewer administrator',
  'change-on-call': 'lead administrator',
  'confirm-own-phone': 'on-call lead',
  'confirm-number': 'on-call lead administrator',
  'test-call-out': 'on-call lead administrator',
  'see-content': 'on-call lead reviewer administrator',
  'approve-content': 'lead',
  'withdraw-approval': 'lead',
  'roll-back': 'lead',
  'see-settings': 'on-call lead reviewer administrator',
  'change-settings': 'lead',
  'change-clinic': 'lead administrator',
  'review-cases': 'reviewer',
  'see-figures': 'lead reviewer administrator',
  'see-people': 'lead administrator',
  'invite-people': 'administrator',
  'change-roles': 'administrator',
  'end-sessions': 'on-call lead reviewer administrator',
  'keep-own-account': 'on-call lead reviewer administrator',
  'see-audit': 'lead administrator',
}

describe('who may do what', () => {
  for (const action of ACTIONS) {
    it(`${action}: ${AT_MOST[action]}, and nobody else`, () => {
      const about = { caseId: 'c1', isClosed: true, personId: 'amara' }
      const may = ROLES.filter(role => mayDo(person([role], true), action, about))
      const byLink = mayDo({ caseOfLink: 'c1' }, action, about) ? ['link'] : []
      expect([...may, ...byLink].join(' ')).toBe(AT_MOST[action])
      expect(rolesThatMay(action)).toEqual(may)
    })
  }

  it('nobody without a role may anything', () => {
    const about = { caseId: 'c1', isClosed: true, personId: 'amara' }
    expect(ACTIONS.filter(action => mayDo(person([], true), action, about))).toEqual([])
  })

  it('an administrator alone reads no case and approves nothing', () => {
    const clerk = person(['administrator'], true)
    const denied: readonly Action[] = ['see-case', 'answer-case', 'approve-content', 'roll-back', 'change-settings']
    for (const action of denied) expect(mayDo(clerk, action, { caseId: 'c1', isClosed: true }), action).toBe(false)
  })

  it('whoever is off call reads and answers no case by that role alone', () => {
    for (const action of ['see-case', 'answer-case'] as const) {
      expect(mayDo(person(['on-call'], false), action, { caseId: 'c1' })).toBe(false)
      expect(mayDo(person(['on-call'], true), action, { caseId: 'c1' })).toBe(true)
      expect(mayDo(person(['on-call', 'lead'], false), action, { caseId: 'c1' })).toBe(true)
    }
  })

  it('a reviewer reads what is closed, and not what is open or not known to be closed', () => {
    expect(mayDo(person(['reviewer']), 'see-case', { caseId: 'c1', isClosed: true })).toBe(true)
    expect(mayDo(person(['reviewer']), 'see-case', { caseId: 'c1', isClosed: false })).toBe(false)
    expect(mayDo(person(['reviewer']), 'see-case', { caseId: 'c1' })).toBe(false)
  })

  it("one's own is one's own: another's session is ended by an administrator only", () => {
    for (const role of ROLES) {
      expect(mayDo(person([role]), 'end-sessions', { personId: 'amara' }), role).toBe(true)
      expect(mayDo(person([role]), 'end-sessions', { personId: 'linh' }), role).toBe(role === 'administrator')
      expect(mayDo(person([role]), 'keep-own-account', { personId: 'linh' }), role).toBe(false)
    }
  })

  it('a link opens its own case, no other, and none where the case is not said', () => {
    expect(mayDo({ caseOfLink: 'c1' }, 'answer-case', { caseId: 'c1' })).toBe(true)
    expect(mayDo({ caseOfLink: 'c1' }, 'answer-case', { caseId: 'c2' })).toBe(false)
    expect(mayDo({ caseOfLink: 'c1' }, 'answer-case')).toBe(false)
    expect(mayDo({ caseOfLink: 'c1' }, 'see-board', { caseId: 'c1' })).toBe(false)
  })

  it('every row is for somebody, and says what it is', () => {
    for (const action of ACTIONS) {
      expect(rolesThatMay(action).length, action).toBeGreaterThan(0)
      expect(AUTHORITY[action].means.length, action).toBeGreaterThan(10)
    }
  })
})
