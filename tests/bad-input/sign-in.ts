import { cpSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { expect } from 'vitest'
import { openAccounts } from '../../src/cli/bot-accounts.ts'
import { openDataFolder } from '../../src/cli/data-folder.ts'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { demoClinic } from '../support/a-line.ts'
import { smallhours } from '../support/smallhours.ts'
import { NIGHT, type NightLine } from './night-line.ts'
import type { BadInput, Row } from './trying.ts'

/** What a page of the clinic's side says instead of doing something: its note, or its heading and first line. */
function said(markup: string): string {
  const text = (pattern: RegExp) =>
    pattern
      .exec(markup)?.[1]
      ?.replace(/<[^>]*>/g, '')
      .trim()
  return text(/role="alert">([^<]*)</) ?? `${text(/<h1>(.*?)<\/h1>/s)}. ${text(/<\/h1><p>(.*?)<\/p>/s)}`
}

async function posted(
  line: NightLine,
  path: string,
  fields: Record<string, string>,
  headers: Record<string, string> = {},
): Promise<Response> {
  return fetch(line.origin + path, {
    method: 'POST',
    redirect: 'manual',
    headers: { origin: line.origin, 'content-type': 'application/x-www-form-urlencoded', ...headers },
    body: new URLSearchParams(fields).toString(),
  })
}

/** The token of an invitation made at the command line, beside the running bot. */
async function invited(line: NightLine, id: string): Promise<string> {
  const members = openAccounts({
    file: line.bot.data.accountsFile,
    clinic: demoClinic,
    content: () => '',
    approvals: () => [],
    clock: { now: () => NIGHT },
    random: systemRandom(),
  })
  const made = await members.accounts.waysIn.invite('machine', id)
  await members.close()
  if (made === undefined) throw new Error(`${id} cannot be invited`)
  return made.token
}

const PASSWORD = 'window ladder otter tin'

/** What nobody who may sign in would send. */
export const signInInputs: readonly BadInput[] = [
  {
    id: 'B26',
    name: 'approvals that do not count',
    happens:
      'Nothing is written, and what to do is said. What the checker refuses cannot be approved by anybody, and there is no switch past it.',
    async run() {
      const clinic = mkdtempSync(join(tmpdir(), 'smallhours-bad-approvals-'))
      const data = join(clinic, 'data')
      openDataFolder(data, systemRandom())
      cpSync(join(DEMO_CLINIC, 'clinic.yaml'), join(clinic, 'clinic.yaml'))
      const rows: Row[] = []
      const refused = async (sent: string, args: readonly string[], says: RegExp) => {
        const { code, err } = await smallhours('approve', ...args, '--clinic', clinic, '--data', data)
        // The hash is another with every word that is heard anew.
        const last = (err.trim().split('\n')[0] ?? '').replace(/[0-9a-f]{64}/, 'HASH')
        expect(code, sent).toBeGreaterThan(0)
        expect(last, sent).toMatch(says)
        rows.push({ where: 'command', sent, shown: last })
      }
      try {
        await refused('an approval by a stranger', ['lexicon', '--by', 'amrra'], /does not stand under people/)
        await refused('by somebody without the right', ['lexicon', '--by', 'linh'], /may not approve/)
        await refused('by somebody who is no clinician', ['lexicon', '--by', 'malia'], /may not approve/)
        await refused(
          'one that has ended already',
          ['lexicon', '--by', 'amara', '--until', '2020-01-01'],
          /counts for nothing/,
        )
        await refused('an end that is no date', ['lexicon', '--by', 'amara', '--until', 'soon'], /a date was expected/)
        await refused(
          'another content than was read',
          ['lexicon', '--by', 'amara', '--hash', '0123456789abcdef'],
          /read it again/,
        )
        await smallhours('approve', 'lexicon', '--by', 'amara', '--clinic', clinic, '--data', data)
        await refused('the same person twice', ['lexicon', '--by', 'amara'], /another clinician is needed/)
        writeFileSync(join(clinic, 'approvals/lexicon.yaml'), 'approved: yes\n')
        await refused('a file of approvals made by hand', ['lexicon', '--by', 'ingrid'], /cannot be read/)
        rows.splice(-1, 1, { ...(rows.at(-1) as Row), shown: (rows.at(-1) as Row).shown.replaceAll(clinic, 'CLINIC') })
        return rows
      } finally {
        rmSync(clinic, { recursive: true })
      }
    },
  },
  {
    id: 'B47',
    name: 'signing in: guessed, repeated, from elsewhere, led astray',
    happens:
      'Nothing is opened and nothing is said of whether an account exists. Waits end by themselves; the link in a page needs no signing in.',
    async run(line) {
      const rows: Row[] = []
      const refused = async (sent: string, status: number, response: Response, says: RegExp) => {
        const words = said(await response.text())
        expect(response.status, `${sent}: ${words}`).toBe(status)
        expect(words, sent).toMatch(says)
        expect(response.headers.get('set-cookie') ?? '', sent).not.toContain('clinic=')
        rows.push({ where: 'sign-in page', sent, shown: `${words} (${status})` })
      }
      const signIn = (name: string, password: string, headers: Record<string, string> = {}) =>
        posted(line, '/sign-in', { name, password }, headers)
      const wrong = /^Name or password is not right/
      const path = `/invited/${await invited(line, 'amara')}`
      await refused(
        'an invitation with "password1234"',
        422,
        await posted(line, path, { password: 'password1234' }),
        /tried first/,
      )
      await refused(
        'with the clinic’s name',
        422,
        await posted(line, path, { password: 'HarbourLights1' }),
        /names of the clinic/,
      )
      await refused('with eleven characters', 422, await posted(line, path, { password: 'Zq7#vLm2!pR' }), /too short/)
      expect((await posted(line, path, { password: PASSWORD })).status).toBe(303)
      await refused(
        'an invitation used again',
        410,
        await posted(line, path, { password: PASSWORD }),
        /no longer works/,
      )
      await refused(
        'an invitation guessed',
        410,
        await fetch(`${line.origin}/invited/${'A'.repeat(43)}`),
        /no longer works/,
      )
      await refused('a name that is nobody’s', 401, await signIn('nobody-here', PASSWORD), wrong)
      await refused('a wrong password', 401, await signIn('amara', 'not it at all'), wrong)
      await refused('"; DROP TABLE session; --', 401, await signIn("'; DROP TABLE session; --", PASSWORD), wrong)
      await refused('__proto__', 401, await signIn('__proto__', PASSWORD), wrong)
      const other = /^That came from another site/
      await refused('from another site', 403, await signIn('amara', PASSWORD, { origin: 'http://evil.example' }), other)
      await refused('Origin: null', 403, await signIn('amara', PASSWORD, { origin: 'null' }), other)
      await refused('100,000 characters', 413, await signIn('amara', 'x'.repeat(100_000)), /^That was too long/)
      const led = await posted(line, '/sign-in', { name: 'amara', password: PASSWORD, onward: '//evil.example/' })
      expect(led.headers.get('location')).toBe('/account')
      rows.push({ where: 'sign-in page', sent: 'onward to //evil.example/', shown: 'signed in, led to /account' })
      for (let i = 0; i < 5; i += 1) expect((await signIn('linh', `wrong wrong ${i}`)).status).toBe(401)
      const held = await signIn('linh', PASSWORD, { 'x-forwarded-for': '192.0.2.99' })
      const words = said(await held.text()).replace(/after .*?\. A/, 'after TIME. A')
      expect([held.status, words]).toEqual([429, expect.stringMatching(/^Too many tries went wrong/)])
      rows.push({ where: 'sign-in page', sent: 'a sixth try, with another X-Forwarded-For', shown: `${words} (429)` })
      return rows
    },
  },
]
