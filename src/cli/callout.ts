import { join } from 'node:path'
import { staffLine } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import { reachableOf } from '../oncall/clinic.ts'
import { fitPageText } from '../pagers/page-text.ts'
import type { Clock } from '../runtime/clock.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { minutes, seconds } from '../time/instant.ts'
import { type BotPagers, clinicPagers, demoPagers, pagesBySms } from './bot-pagers.ts'
import { type Standing, standingIn } from './callout-server.ts'
import { wayDocument, wayLines, waysOf } from './callout-ways.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print, wholeNumber } from './command.ts'
import { type DataFolder, openDataFolder } from './data-folder.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from './load-line.ts'
import { pageToken } from './page-link.ts'
import { reportProblems } from './problems.ts'
import { type TestCallouts, testCallouts } from './test-callouts.ts'

const WAIT_MINUTES_MOST = 60
const LOOK_EVERY_MS = seconds(1)

export const calloutCommand: Command = {
  name: 'callout',
  summary: 'proves that people can be reached: "callout test PERSON", "callout ways"',
  usage: [
    'smallhours callout test PERSON [--dry-run] [--wait 5]   pages somebody by each of their ways, and waits so many minutes for "I have this telephone"',
    'smallhours callout ways                                 everybody’s ways and numbers, each with when it was last shown to work',
    'each with [--clinic FOLDER] [--data FOLDER] [--json]',
    '  --origin ADDRESS   where the running bot is reached, for the link; left out: the clinic’s web-address, or http://localhost:8080',
    '  --port N           while no bot runs on the data folder: where this command answers the link itself (default 8080)',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      json: { type: 'boolean', default: false },
      'dry-run': { type: 'boolean', default: false },
      wait: { type: 'string', default: '5' },
      origin: { type: 'string' },
      port: { type: 'string', default: '8080' },
    })
    const [what, who, ...more] = positionals
    const waitMinutes = Number(values.wait)
    if (!/^\d{1,2}(?:\.\d{1,3})?$/.test(values.wait) || waitMinutes > WAIT_MINUTES_MOST)
      throw new CalledWrongly(`--wait ${values.wait}: minutes from 0 to ${WAIT_MINUTES_MOST} were expected`)
    const port = wholeNumber('--port', values.port, 0, 65_535)
    if (more.length > 0 || !(what === 'ways' ? who === undefined : what === 'test' && who !== undefined))
      throw new CalledWrongly('"test" and the id of a person or desk, or "ways", was expected')
    const clock = systemClock()
    const { loaded, problems } = loadLine({ clinicDir: values.clinic, at: clock.now() })
    if (loaded === undefined) {
      reportProblems(problems)
      return 1
    }
    const { clinic } = loaded.line
    const data = openDataFolder(values.data, systemRandom())
    const callouts = testCallouts(data.testCalloutsFile, error =>
      complain(`${data.testCalloutsFile}: ${String(error)}`),
    )
    if (who === undefined) {
      const people = waysOf(clinic, callouts, clock.now())
      print(
        values.json
          ? JSON.stringify({ people: wayDocument(people) })
          : wayLines(clinic, people, clock.now()).join('\n'),
      )
      return people.every(({ ways }) => ways.every(({ isStale }) => !isStale)) ? 0 : 1
    }
    const given: Given = { loaded, data, callouts, clock, who, json: values.json }
    if (reachableOf(clinic, who) === undefined) {
      const known = [...clinic.people, ...clinic.desks].map(({ id }) => id)
      throw new CalledWrongly(`"${who}": one of ${known.join(', ')} was expected`)
    }
    if (values['dry-run']) return dryRun(given)
    const standing = await standingIn({
      ...given,
      port,
      ...(values.origin === undefined ? {} : { origin: values.origin }),
    })
    const pagers = await withTelegram(given, await pagersOf(given))
    try {
      return await tested(given, standing, pagers, waitMinutes)
    } finally {
      await pagers.stop()
      await standing.stop()
    }
  },
}

interface Given {
  readonly loaded: LoadedLine
  readonly data: DataFolder
  readonly callouts: TestCallouts
  readonly clock: Clock
  readonly who: string
  readonly json: boolean
}

async function pagersOf(given: Given): Promise<BotPagers> {
  const { loaded, data, clock } = given
  const { clinic } = loaded.line
  const now = () => clock.now()
  const wording = () => wordsOf(given)
  if (!clinic.demonstration) return clinicPagers(loaded.pagers, now, wording)
  const secret = `whsec_${data.key.toString('base64')}`
  return demoPagers(now, secret, loaded.pagers, pagesBySms(clinic) ? { wording } : undefined)
}

/** The same, and accounts linked on Telegram where the clinic has it. */
async function withTelegram(given: Given, pagers: BotPagers): Promise<BotPagers> {
  const { loaded, data, clock } = given
  if (loaded.telegram === undefined) return pagers
  const { telegramOf } = await import('./telegram-side.ts')
  const bot = telegramOf(loaded.telegram, { data, clock, wording: () => wordsOf(given), log: () => undefined })
  return {
    ...pagers,
    of: id => (id === bot.pager.id ? bot.pager : pagers.of(id)),
    async stop() {
      await bot.pager.stop()
      bot.close()
      await pagers.stop()
    },
  }
}

/** Words of the screens in the clinic's own language. */
function wordsOf({ loaded }: Given): Wording {
  const { language } = staffLine(loaded.line)
  const screen = loaded.screens.get(language) ?? loaded.screens.get(loaded.line.language)
  if (screen === undefined) throw new Error(`no screen words in "${language}"`)
  return (id, values) => screen.text(id, values as never)
}

const textOf = (given: Given): string => wordsOf(given)('on-call-test-page')

/** Tells what would be sent; sends nothing, and writes nothing down. */
function dryRun(given: Given): number {
  const reached = reachableOf(given.loaded.line.clinic, given.who)
  const text = fitPageText([textOf(given)], 'https://…')
  const ways = (reached?.pageAt ?? []).map(({ pager, address }) => ({
    pager,
    address,
    text: pager === 'board' ? null : text,
  }))
  if (given.json) print(JSON.stringify({ who: given.who, dryRun: true, ways }))
  else {
    print(`To ${reached?.name ?? given.who}, nothing is sent:`)
    for (const way of ways) print(`  ${way.pager} ${way.address}: ${way.text ?? 'a screen; nothing is sent to it'}`)
  }
  return 0
}

/** One test for each way, each with a link of its own: what is answered proves that way and no other. */
async function tested(given: Given, standing: Standing, pagers: BotPagers, waitMinutes: number): Promise<number> {
  const { loaded, data, callouts, clock, who, json } = given
  const reached = reachableOf(loaded.line.clinic, who)
  const words = textOf(given)
  const ways = (reached?.pageAt ?? []).filter(({ pager }) => pager !== 'board')
  const sent = await Promise.all(
    ways.map(async ({ pager, address }) => {
      const id = systemRandom().hex(16)
      const at = clock.now()
      const link = `${standing.origin}/p/test/${pageToken(data.key, { caseId: id, to: who, at })}`
      const test = { id, who, at, ways: [{ pager, outcome: 'unknown' as const }] }
      callouts.keep(test)
      const paged = await pagers.of(pager)?.page({
        ...{ key: `test.${id}`, caseId: '', code: '', to: { id: who, name: reached?.name ?? who }, address, link, at },
        ...{ text: fitPageText([words], link), urgency: 'speak', kind: 'update', repeated: false },
      })
      const outcome = paged?.kind === 'accepted' ? 'accepted' : paged?.kind === 'unknown' ? 'unknown' : 'refused'
      // It may have been answered before the pager's own answer came.
      callouts.keep({ ...(callouts.of(id) ?? test), ways: [{ pager, outcome }] })
      if (!json)
        print(`${pager} ${address}: ${outcome}${loaded.line.clinic.demonstration ? `; its link is ${link}` : ''}`)
      return { id, at, pager, address, outcome, link }
    }),
  )
  if (sent.length === 0) complain(`${reached?.name ?? who} has no way but the board, which wakes nobody.`)
  await answered(given, sent, clock.monotonicMs() + minutes(waitMinutes))
  const rows = sent.map(({ id, at, link: _link, ...one }) => {
    const answeredAt = callouts.of(id)?.answeredAt
    return { ...one, answeredAfterSeconds: answeredAt === undefined ? null : Math.round((answeredAt - at) / 1000) }
  })
  const isProved = rows.length > 0 && rows.every(row => row.answeredAfterSeconds !== null)
  if (json) print(JSON.stringify({ who, isProved, ways: rows }))
  else
    for (const row of rows)
      print(
        `${row.pager}: ${row.answeredAfterSeconds === null ? 'NOT ANSWERED' : `answered after ${row.answeredAfterSeconds} s`}`,
      )
  return isProved ? 0 : 1
}

/** Waits until every test was answered, or the time is over. */
async function answered(
  { callouts, clock }: Given,
  sent: readonly { readonly id: string }[],
  untilMs: number,
): Promise<void> {
  while (sent.some(({ id }) => callouts.of(id)?.answeredAt === undefined) && clock.monotonicMs() < untilMs)
    await new Promise<void>(resolve => clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, resolve))
}
