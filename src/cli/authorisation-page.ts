import { ACTIONS, AUTHORITY, type Right, ROLES, type Scope } from '../accounts/authority.ts'
import { cell } from './schema-table.ts'

const SCOPES: Readonly<Record<Scope, string>> = {
  all: 'yes',
  'while-on-call': 'while on call',
  closed: 'closed ones',
  own: 'their own',
}

/** Who may do what at the clinic's side, as the code has it. */
export function authorisationPage(): readonly string[] {
  const rows = ACTIONS.map(action => {
    const right: Right = AUTHORITY[action]
    const scopes = ROLES.map(role => {
      const scope = right.roles[role]
      return scope === undefined ? '' : SCOPES[scope]
    })
    return `| \`${action}\` | ${cell(right.means)} | ${scopes.join(' | ')} | ${right.byLink === true ? 'that case' : ''} |`
  })
  return [
    '# Who may do what',
    'Every protected page and command asks this one table (`src/accounts/authority.ts`). An empty cell means no. Roles stand at each person under `people` in the [clinic file](../clinic/clinic-file.md#who-may-do-what-at-the-clinics-side); somebody with several may what any of them may.',
    [
      `| action | what it is | ${ROLES.join(' | ')} | link of a page |`,
      `|---|---|${ROLES.map(() => '---').join('|')}|---|`,
      ...rows,
    ].join('\n'),
    '*While on call*: the ladder reaches the person at that moment, by rota or by name. *Their own*: only what is about themselves. *Link of a page*: whoever opens the link that a page carries may this for the one case it was made for, for 24 hours, without signing in. It must work half asleep on a telephone; it therefore opens nothing else.',
    'Whoever may run commands on the machine stands above this table: the operating system decides who that is. Commands that name a person (`--by`) hold that person to it.',
  ]
}
