import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Action } from '../../src/accounts/authority.ts'
import { ROOT } from '../support/clone.ts'
import { consoleAddresses, consoleRoutes } from '../support/console-routes.ts'

/** What each route of the clinic's pages takes, written out by hand beside the code: a new route fails here until it has its row. */
const TAKES: Readonly<Record<Action | string, readonly string[]>> = {
  'see-board': ['GET /now'],
  'see-case': ['GET /now/open/:caseId'],
  'hand-over': ['POST /now/day/:caseId', 'POST /now/worth/:caseId', 'POST /now/sign-over'],
  'print-tonight': ['GET /now/print'],
  'close-line': ['GET /now/notice', 'POST /now/notice'],
  'see-on-call': ['GET /on-call', 'GET /on-call/pattern', 'GET /on-call/calendar'],
  'change-on-call': [
    ...['cover', 'swap', 'leave', 'number', 'take-back', 'weekly', 'rung', 'rung-new'],
    ...['shift-new', 'shift-out', 'role-new', 'calendar', 'calendar-stop', 'calendar-out'],
  ]
    .flatMap(kind => [`GET /on-call/change/${kind}`, `POST /on-call/change/${kind}`])
    .concat('POST /on-call/undo')
    .concat('POST /on-call/calendar', 'POST /on-call/calendar/ignore', 'POST /on-call/calendar/live'),
  'confirm-own-phone': ['POST /on-call/phone/:person'],
  'confirm-number': ['POST /on-call/number/:person'],
  'test-call-out': ['POST /on-call/test/:person'],
  'see-content': [
    ...['GET /flows', 'GET /flows/:part', 'GET /flows/:part/words/:language'],
    ...['GET /flows/:part/conversations/:situation', 'GET /flows/:part/picture/:number'],
  ],
  'approve-content': ['POST /flows/:part/approve'],
  'withdraw-approval': ['POST /flows/:part/withdraw'],
  'see-settings': ['GET /settings'],
  'change-settings': ['GET /settings/change/setting', 'POST /settings/change/setting'],
  'change-clinic': ['families-number', 'hospital', 'hours', 'date', 'retention']
    .flatMap(kind => [`GET /settings/change/${kind}`, `POST /settings/change/${kind}`])
    .concat('POST /settings/undo'),
  'see-audit': ['GET /trail', 'POST /trail/export'],
  'review-cases': [
    ...['GET /reviews', 'POST /reviews/draw', 'GET /reviews/case/:caseId', 'POST /reviews/case/:caseId/score'],
    ...['GET /reviews/case/:caseId/picture/:number', 'GET /reviews/report', 'GET /reviews/actions'],
    ...['POST /reviews/case/:caseId/action', 'POST /reviews/actions/:number'],
  ],
  'see-figures': ['GET /reviews/figures'],
}

/**
 * Routes of the clinic's side outside the gate, and what lets somebody in there. The page of a case and its photographs open by
 * the signed link of a page; signing in is for whoever is not signed in yet.
 */
const OUTSIDE: Readonly<Record<string, readonly string[]>> = {
  'the signed link of a page': ['/p/:token', '/p/:token/photo/:id', '/p/:token/ring'],
  'the signed link of a test call-out': ['/p/test/:token'],
  'nothing: a script without content': ['/p/ring/ring.js'],
  'a demonstration, or who is signed in and may see the board': ['/board'],
  'an invitation of its own': [
    ...['/invited/:token', '/invited/:token/passkey', '/invited/:token/passkey/options', '/invited/:token/hospital'],
  ],
  'nothing: signing in and out': [
    ...['/sign-in', '/sign-in/passkey', '/sign-in/passkey/options', '/sign-in/hospital', '/sign-out'],
  ],
}

describe('every route of the clinic’s side', () => {
  it('takes the right that stands in the table by hand, and none is missing there', () => {
    const found = Map.groupBy(consoleRoutes(), ({ action }) => action as string)
    const shown = Object.fromEntries(
      [...found].map(([action, routes]) => [action, routes.map(({ method, path }) => `${method} ${path}`).toSorted()]),
    )
    expect(shown).toEqual(
      Object.fromEntries(Object.entries(TAKES).map(([action, routes]) => [action, routes.toSorted()])),
    )
  })

  it('that is not behind the gate is known, with what lets somebody in', () => {
    const folder = join(ROOT, 'src/http')
    const paths = readdirSync(folder, { recursive: true, encoding: 'utf8' })
      .filter(name => name.endsWith('.ts') && name !== 'gate.ts')
      .flatMap(name => [
        ...readFileSync(join(folder, name), 'utf8').matchAll(/\bapp\.(?:get|post|all|use)\(\s*'([^']+)'/g),
      ])
      .map(([, path]) => path)
    expect([...new Set(paths)].toSorted()).toEqual(Object.values(OUTSIDE).flat().toSorted())
  })

  it('that is a page is opened in a browser somewhere', () => {
    expect(consoleAddresses().length).toBeGreaterThan(25)
  })
})
