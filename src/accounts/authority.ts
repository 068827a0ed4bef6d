import { ROLES, type Role } from '../oncall/clinic.ts'

export type { Role } from '../oncall/clinic.ts'
export { ROLES } from '../oncall/clinic.ts'

/** How far a right goes. */
export type Scope =
  /** Any case, any person, the whole clinic. */
  | 'all'
  /** Only while the clinic's ladder has the person on call. */
  | 'while-on-call'
  /** Only what is closed. */
  | 'closed'
  /** Only what is the person's own: their account, their sessions, their telephone. */
  | 'own'

export interface Right {
  /** What it is to do this, for the reference page. */
  readonly means: string
  /** Scope of each role; a role that is left out may not. */
  readonly roles: Readonly<Partial<Record<Role, Scope>>>
  /** Whoever holds the link of a page may, for its case. */
  readonly byLink?: true
}

const everyone = (scope: Scope) => ({ 'on-call': scope, lead: scope, reviewer: scope, administrator: scope }) as const

/**
 * Who may do what: the one table that every protected page and command asks. Whoever is in none of a row's roles may not.
 *
 * Nobody gains anything by being an administrator where families' words are: whoever keeps the accounts reads no case.
 */
export const AUTHORITY = {
  'see-board': {
    means: 'see the open cases: code, urgency, who has it, what is due',
    roles: { 'on-call': 'all', lead: 'all', administrator: 'all' },
  },
  'see-case': {
    means: 'read a case: what was said, answered and told, and the number to ring',
    roles: { 'on-call': 'while-on-call', lead: 'all', reviewer: 'closed' },
    byLink: true,
  },
  'answer-case': {
    means: 'take a case, pass it on, write to the family, lower its urgency, set its outcome',
    roles: { 'on-call': 'while-on-call', lead: 'all' },
    byLink: true,
  },
  'see-photos': {
    means: 'look at the photos a family sent; never by the link of a page alone',
    roles: { 'on-call': 'while-on-call', lead: 'all' },
  },
  'hand-over': {
    means: "give a case or a note of the night to whoever takes it for the clinic's day",
    roles: { 'on-call': 'all', lead: 'all' },
  },
  'print-tonight': {
    means: 'print tonight: people, numbers, codes of open cases',
    roles: { 'on-call': 'all', lead: 'all', administrator: 'all' },
  },
  'close-line': {
    means: 'tell families that the line is closed or reduced, and take that back',
    roles: { 'on-call': 'while-on-call', lead: 'all', administrator: 'all' },
  },
  'see-on-call': { means: 'see who is on call, when, and on which number', roles: everyone('all') },
  'change-on-call': {
    means: 'change who is on call: tonight, swaps, cover, leave, holidays, the ladder, private numbers',
    roles: { lead: 'all', administrator: 'all' },
  },
  'confirm-own-phone': { means: 'confirm "I have this phone"', roles: { 'on-call': 'own', lead: 'own' } },
  'confirm-number': {
    means: 'say that the telephone number of a person or desk is right',
    roles: { 'on-call': 'own', lead: 'all', administrator: 'all' },
  },
  'test-call-out': {
    means: 'send a test call-out to a person',
    roles: { 'on-call': 'own', lead: 'all', administrator: 'all' },
  },
  'see-content': { means: 'read flows, wording, sources, and what the checker says', roles: everyone('all') },
  'approve-content': { means: 'approve a content that families would be told', roles: { lead: 'all' } },
  'withdraw-approval': { means: 'withdraw an approval', roles: { lead: 'all' } },
  'roll-back': {
    means: 'put a part back to the content that was approved last',
    roles: { lead: 'all' },
  },
  'see-settings': { means: 'see thresholds, hours, hospitals, numbers for families', roles: everyone('all') },
  'change-settings': {
    means: 'change thresholds and policies; they count once two clinicians have approved them',
    roles: { lead: 'all' },
  },
  'change-clinic': {
    means: 'change hours, hospitals, numbers for families, retention',
    roles: { lead: 'all', administrator: 'all' },
  },
  'review-cases': {
    means: 'draw a month for review, read what was drawn without names, score it, and read what the scores say',
    roles: { reviewer: 'all' },
  },
  'see-figures': {
    means: "see the clinic's figures, small counts hidden",
    roles: { lead: 'all', reviewer: 'all', administrator: 'all' },
  },
  'see-people': {
    means: 'see who has an account, in which roles, and when they last signed in',
    roles: { lead: 'all', administrator: 'all' },
  },
  'invite-people': {
    means: 'make a link with which a person sets up signing in, and take it back',
    roles: { administrator: 'all' },
  },
  'change-roles': { means: "change a person's roles", roles: { administrator: 'all' } },
  'end-sessions': {
    means: 'end sessions, and take away ways of signing in: of oneself, or of anybody whose telephone is lost',
    roles: { 'on-call': 'own', lead: 'own', reviewer: 'own', administrator: 'all' },
  },
  'keep-own-account': { means: 'set up and change how one signs in oneself', roles: everyone('own') },
  'see-audit': {
    means: 'read, verify and export who did what',
    roles: { lead: 'all', administrator: 'all' },
  },
} as const satisfies Readonly<Record<string, Right>>

export type Action = keyof typeof AUTHORITY

export const ACTIONS = Object.keys(AUTHORITY) as readonly Action[]

/** Who asks: somebody signed in, or whoever holds the link of a page. */
export type Asking =
  | { readonly personId: string; readonly roles: readonly Role[]; readonly isOnCall: boolean }
  | { readonly caseOfLink: string }

/** What it is about. What is left out is not known, and no right that needs it holds. */
export interface About {
  readonly caseId?: string
  /** Whether that case is closed. */
  readonly isClosed?: boolean
  readonly personId?: string
}

/** Whether the table lets them. Somebody in several roles may what any of them may. */
export function mayDo(who: Asking, action: Action, about: About = {}): boolean {
  const right: Right = AUTHORITY[action]
  if ('caseOfLink' in who) return right.byLink === true && about.caseId !== undefined && about.caseId === who.caseOfLink
  return who.roles.some(role => holds(right.roles[role], who, about))
}

function holds(scope: Scope | undefined, who: Exclude<Asking, { caseOfLink: string }>, about: About): boolean {
  switch (scope) {
    case undefined:
      return false
    case 'all':
      return true
    case 'while-on-call':
      return who.isOnCall
    case 'closed':
      return about.isClosed === true
    case 'own':
      return about.personId === who.personId
  }
}

/** The roles that may do this at all, in the order of the table's head. */
export function rolesThatMay(action: Action): readonly Role[] {
  const right: Right = AUTHORITY[action]
  return ROLES.filter(role => right.roles[role] !== undefined)
}
