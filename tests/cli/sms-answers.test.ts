import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import type { Outgoing } from '../../src/case/message.ts'
import type { Channel } from '../../src/channels/channel.ts'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { smsOver } from '../../src/cli/bot-sms.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { boardPager } from '../../src/pagers/board.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant, minutes } from '../../src/time/instant.ts'
import { type TestCentre, testCentre, textOf } from '../support/sms-centre.ts'

/** A Saturday night on which Amara has the telephone, and Ingrid is second. */
const NIGHT = Date.parse('2026-03-01T02:10:00-05:00')
const AMARA = '+12125550141'
const INGRID = '+12125550145'

let folder: string
let peer: TestCentre
let bot: Bot
let told: Outgoing[]
let clock: ReturnType<typeof handClock>

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'smallhours-sms-'))
  const clinicDir = join(folder, 'clinic')
  cpSync(DEMO_CLINIC, clinicDir, { recursive: true })
  const file = join(clinicDir, 'clinic.yaml')
  const byText = readFileSync(file, 'utf8').replaceAll(
    /- \{ pager: webhook, address: "demo:" \}\n {4}private-number: ("\+1 212 555 014\d")/g,
    '- { pager: sms, address: $1 }\n    private-number: $1',
  )
  writeFileSync(file, byText)
  const { loaded } = loadLine({ clinicDir, at: instant(NIGHT) })
  if (loaded === undefined) throw new Error('the clinic does not load')
  peer = await testCentre()
  clock = handClock(instant(NIGHT))
  told = []
  const channel: Channel = {
    id: 'text',
    async deliver(outgoing) {
      told.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => undefined,
    stop: async () => undefined,
  }
  const board = boardPager()
  const sms = smsOver(
    { host: '127.0.0.1', port: peer.port, security: 'none', systemId: 'clinic', password: 'pass', from: 'Clinic' },
    () => clock.now(),
    () => bot.staffWords,
  )
  const others = { id: 'others', page: async () => ({ kind: 'accepted' }) as const, stop: async () => undefined }
  bot = await openBot({
    ...{ loaded, clock, random: systemRandom(), origin: () => 'https://feeding.example', channels: [channel] },
    dataDir: join(folder, 'data'),
    log: () => undefined,
    pagers: {
      ...{ board, sms },
      of: id => (id === 'sms' ? sms.pager : others),
      stop: () => sms.pager.stop(),
    },
  })
  await bot.runtime.start()
})
afterEach(async () => {
  await bot.stop()
  await peer.stop()
  rmSync(folder, { recursive: true, force: true })
})

async function say(text: string): Promise<void> {
  const body = { kind: 'text', text } as const
  await bot.runtime.receive({ channel: 'text', chat: 'family', deliveryId: text, at: clock.now(), body })
  await bot.runtime.idle()
}

/** What was sent to a number, each text put together of its parts. */
function textsTo(number: string): string[] {
  const texts: string[] = []
  for (const pdu of peer.submitted.filter(({ destination_addr: to }) => `+${to}` === number)) {
    const number = Number(pdu.short_message?.udh?.[0]?.[4] ?? 1)
    if (number === 1) texts.push('')
    texts.push(`${texts.pop() ?? ''}${textOf([pdu])}`)
  }
  return texts
}
const saidToFamily = () => told.flatMap(({ parts }) => parts.map(part => ('text' in part ? part.text : ''))).join('\n')

/** Answers by text message, and gives what comes back. */
async function answers(from: string, text: string): Promise<string> {
  const before = textsTo(from).length
  expect(await peer.deliver(from, text)).toBe(0)
  await bot.runtime.idle()
  await vi.waitFor(() => expect(textsTo(from).length).toBeGreaterThan(before))
  return textsTo(from).at(-1) ?? ''
}

describe('a page by text message', { timeout: 30_000 }, () => {
  let code = ''
  beforeEach(async () => {
    await say('her tube is out and her lips are blue')
    await vi.waitFor(() => expect(textsTo(AMARA)).not.toEqual([]))
    code = /text back\. (\d{4}) 1: ringing now/.exec(textsTo(AMARA)[0] ?? '')?.[1] ?? ''
  })

  it('tells how to answer it, and is answered with the code and a digit: the family hears who has taken it', async () => {
    expect(textsTo(AMARA)[0]).toMatch(
      /^AMBULANCE, told.+https:\/\/feeding\.example\/p\/\S+ Or text back\. \d{4} 1: ringing now\./s,
    )
    const answer = await answers(AMARA, `${code} 1`)
    expect(answer).toBe(
      `You have case ${code}. The family was told. Their number is behind the link of the page. Harbour Lights feeding clinic: +1 212 555 0110`,
    )
    expect(saidToFamily()).toContain('Amara Osei, feeding nurse, has taken this on')
  })

  it.each(['Sun CODE 2', 'sun CODE, 2', 'CODE-2', '"CODE 2"', 'CODE２'])('is answered as %s', async text => {
    await answers(AMARA, text.replace('CODE', code))
    expect(saidToFamily()).toContain('I will ring you by 2:25 am')
  })

  it('answered twice, or delivered twice by the telephone company, is taken once', async () => {
    await answers(AMARA, `${code} 1`)
    const before = told.length
    expect(await peer.deliver(AMARA, `${code} 1`)).toBe(0)
    await bot.runtime.idle()
    expect(told).toHaveLength(before)
  })

  it('passed on goes to the next person, and nobody passes on what another has taken', async () => {
    expect(await answers(AMARA, `${code} 4`)).toContain(`Case ${code} is passed on.`)
    await vi.waitFor(() => expect(textsTo(INGRID).at(0)).toContain(code))
    expect(await answers(INGRID, `${code} 3`)).toContain(`You have case ${code}.`)
    expect(saidToFamily()).toContain('Go in. I will tell the hospital.')
    const isTaken = `Dr. Ingrid Solheim has case ${code} since 2:10 am. Nothing was changed.`
    expect(await answers(AMARA, `${code} 4`)).toBe(isTaken)
  })

  it.each(['ok', '1', '4719', 'CODE 5', 'CODE', 'on my way 12'])(
    'answered with "%s" does nothing, and says so',
    async text => {
      expect(await answers(AMARA, text.replace('CODE', code))).toContain('Not understood. Nothing was done.')
      expect(saidToFamily()).not.toContain('has taken this on')
    },
  )

  it('answered with another case’s digits does nothing, and says so', async () => {
    const other = code === '1234' ? '4321' : '1234'
    expect(await answers(AMARA, `${other} 1`)).toContain(`no open case ${other} that you were paged for`)
  })

  it('taken by one is taken by no second: who came later hears who has it', async () => {
    await answers(AMARA, `${code} 4`)
    await vi.waitFor(() => expect(textsTo(INGRID)).not.toEqual([]))
    await answers(INGRID, `${code} 1`)
    expect(await answers(AMARA, `${code} 1`)).toContain('Ingrid Solheim has case')
  })

  it('is answered by nobody who was not paged for it', async () => {
    expect(await answers('+12125550143', `${code} 1`)).toContain(`no open case ${code} that you were paged for`)
    expect(saidToFamily()).not.toContain('has taken this on')
  })

  it('whose answer is a machine’s gets one reply, and no second one for ten minutes', async () => {
    await answers(AMARA, 'I am driving.')
    const before = textsTo(AMARA).length
    for (let round = 0; round < 5; round++) await peer.deliver(AMARA, 'I am driving.')
    expect(textsTo(AMARA)).toHaveLength(before)
    await clock.advance(minutes(1), bot.runtime.idle)
    expect(await peer.deliver(AMARA, 'I am driving.')).toBe(0)
  })

  it('is not confused with a family that texts the number: it is told that nobody reads this, and whom to ring', async () => {
    const answer = await answers('+12125550177', 'help her tube came out')
    expect(answer).toContain('nobody reads texts to this number')
    expect(answer).toContain('911')
    expect(answer).toContain('+1 212 555 0110')
  })
})
