import { mkdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { DatabaseSync } from 'node:sqlite'
import { freePort } from '../support/free-port.ts'
import { despiteKills, type Keeper, keep } from './kill-keeper.ts'
import { openReceivers, type Receivers } from './kill-receivers.ts'
import { type KillRecord, recordOf } from './kill-record.ts'
import { clinicWith, eventually, newFolder } from './process.ts'
import { type Visit, visit } from './visit.ts'

/** One run of the conversation, and where the process is killed on its way. */
export interface KillPlan {
  readonly name: string
  /** Where each life of the process ends (see killer.ts), the first one first. None: it is never killed. */
  readonly kills: readonly string[]
  /** The receivers take the first arrival of every page and cut the connection before they answer. */
  readonly cutFirst?: boolean
}

/** Longest wait for anything in a run, real ms: restarts among many other processes take their time. */
const STEP_MS = 60_000

/** The shortest ladder a clinic may set: again at 60 s, the next person at 62 s, everyone at 64 s. */
const SETTINGS = '  ladder-urgent: [PT1M, PT62S, PT64S]\n'

/**
 * A night with the real process, time passing fast: a tube is out, answers lead to "go to hospital", the page goes out,
 * nobody answers and the ladder goes to its end, a clinician takes the case by the link of the page, the family corrects an
 * answer and leaves, the clinician sets the outcome. The process is killed where the plan says, started again, and the
 * family's browser sends again what got no answer. At the end everything that was owed is collected.
 */
export async function killRun(plan: KillPlan): Promise<KillRecord> {
  const folder = newFolder()
  const receivers = await openReceivers(plan.cutFirst === true)
  const keeper = keep({
    folder: folder.path,
    clinic: clinicOf(folder.path, receivers),
    port: await freePort(),
    kills: plan.kills,
  })
  try {
    const said = await converse(keeper, receivers)
    await allSent(folder.path)
    const page = await despiteKills(keeper, () => said.family.open('/'))
    await keeper.stop()
    return await recordOf({ plan, keeper, receivers, dataDir: join(folder.path, 'data'), page })
  } catch (error) {
    await keeper.stop().catch(() => undefined)
    const why = error instanceof Error ? error.message : error
    throw new Error(`${plan.name}: ${why}; the process wrote: ${keeper.output()}`, { cause: error })
  } finally {
    await receivers.stop()
    folder.remove()
  }
}

function clinicOf(folder: string, { smtpPort, webhookUrl, secret }: Receivers): string {
  const secretFile = join(folder, 'webhook-secret')
  mkdirSync(folder, { recursive: true })
  writeFileSync(secretFile, `${secret}\n`)
  const from = 'pages@harbourlights.example.test'
  const pagers = `pagers:
  smtp: { host: 127.0.0.1, port: ${smtpPort}, security: none, from: ${from} }
  webhook: { secret-file: "${secretFile}", demo-receiver: "${webhookUrl}" }
`
  return clinicWith(join(folder, 'clinic'), SETTINGS, yaml => `${yaml}\n${pagers}`)
}

async function converse(keeper: Keeper, receivers: Receivers): Promise<{ readonly family: Visit }> {
  const family = visit(keeper.origin)
  const clinician = visit(keeper.origin)

  const pressed = async (who: Visit, ...what: Parameters<Visit['press']>): Promise<void> => {
    const { status, text } = await despiteKills(keeper, () => who.press(...what))
    if (status >= 400) throw new Error(`${what[0]} was answered ${status}: ${text}`)
  }
  /** Presses a button once it is on the family's page. */
  const tap = async (label: string, ...more: [filled?: Record<string, string>, hidden?: [string, string]]) => {
    await eventually(
      `the button "${label}"`,
      async () => (await despiteKills(keeper, () => family.open('/'))).buttons.includes(label),
      STEP_MS,
    )
    await pressed(family, label, ...more)
  }
  const asked = (words: string) =>
    eventually(
      `the question "${words}"`,
      async () => (await despiteKills(keeper, () => family.open('/'))).text.includes(words),
      STEP_MS,
    )

  await tap('Send', { text: 'her tube has just come out' })
  await tap('Nothing. It is empty')
  await tap('None of these')
  await tap('Long tube, held by a balloon')
  await tap('Up to half an hour ago')
  await tap('Up to 30 minutes')
  await asked('What number can a clinician ring you on?')
  await tap('Send', { text: '202 555 0142' })
  await tap('1 to 6 weeks ago')

  // Nobody answers until the last rung, a desk that is paged by webhook; then the first who was paged takes it.
  const pagesTo = (who: string) => receivers.arrivals.filter(one => one.how === 'webhook' && one.to === who)
  await eventually('the page of the last rung', async () => pagesTo('ward-desk').length > 0, STEP_MS)
  const path = /http:\/\/localhost:\d+(\/p\/[\w-]+)/.exec(pagesTo('amara').at(-1)?.text ?? '')?.[1] ?? 'no link'
  await despiteKills(keeper, () => clinician.open(path))
  await pressed(clinician, 'Ringing now')

  await tap('Change', {}, ['subject', 'out-since'])
  await tap('Half an hour to 1 hour ago')
  for (let turn = 0; turn < 12; turn += 1) {
    const { buttons } = await despiteKills(keeper, () => family.open('/'))
    if (buttons.includes('We have left')) break
    await tap('Not sure')
  }
  await tap('We have left')

  await despiteKills(keeper, () => clinician.open(path))
  await pressed(clinician, 'Set the outcome', { outcome: 'seen-at-hospital' })
  return { family }
}

/** Waits until nothing is left to send. Only counts rows: what they hold is sealed. */
async function allSent(folder: string): Promise<void> {
  const db = new DatabaseSync(join(folder, 'data', 'smallhours.sqlite'), { readOnly: true, timeout: 1_000 })
  try {
    const waiting = db.prepare("SELECT count(*) AS n FROM outbox WHERE status = 'waiting'")
    await eventually('nothing left to send', async () => waiting.get()?.n === 0, STEP_MS)
  } finally {
    db.close()
  }
}
