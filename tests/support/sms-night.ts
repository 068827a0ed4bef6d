import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import { expect, vi } from 'vitest'
import type { Outgoing } from '../../src/case/message.ts'
import type { Channel } from '../../src/channels/channel.ts'
import { type Bot, openBot } from '../../src/cli/bot.ts'
import { smsOver } from '../../src/cli/bot-sms.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { boardPager } from '../../src/pagers/board.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { systemRandom } from '../../src/runtime/system-clock.ts'
import { instant, type Milliseconds } from '../../src/time/instant.ts'
import { type TestCentre, testCentre, textOf } from './sms-centre.ts'

/** A Saturday night on which Amara has the telephone, and Ingrid is second. */
const NIGHT = Date.parse('2026-03-01T02:10:00-05:00')

/** The whole bot in this process, whose clinicians are paged by text message through a centre of the test's own. */
/** Between two texts of one answer, at most. */
const SOON_MS = 60

export interface SmsNight {
  readonly peer: TestCentre
  readonly bot: Bot
  /** What a family on another channel was told. */
  readonly told: readonly Outgoing[]
  /** A family on another channel writes. */
  say(text: string): Promise<void>
  /** What was sent to a number, each text put together of its parts. */
  textsTo(number: string): string[]
  /** Sends a text message to the bot, and gives what comes back. */
  answers(from: string, text: string): Promise<string>
  pass(length: Milliseconds): Promise<void>
  /** Ends the bot and starts it anew on the same data; the centre goes on. */
  restart(): Promise<void>
  stop(): Promise<void>
}

/** @param onlyTexts  people have no mail beside */
export async function smsNight({ takesFamilies = false, onlyTexts = false } = {}): Promise<SmsNight> {
  const folder = mkdtempSync(join(tmpdir(), 'smallhours-sms-'))
  const { loaded } = loadLine({ clinicDir: clinicIn(folder, onlyTexts), at: instant(NIGHT) })
  if (loaded === undefined) throw new Error('the clinic does not load')
  const peer = await testCentre()
  const clock = handClock(instant(NIGHT))
  const told: Outgoing[] = []
  const channel: Channel = {
    id: 'text',
    async deliver(outgoing) {
      told.push(outgoing)
      return { kind: 'delivered' }
    },
    start: async () => undefined,
    stop: async () => undefined,
  }
  const others = { id: 'others', page: async () => ({ kind: 'accepted' }) as const, stop: async () => undefined }
  const open = async (): Promise<Bot> => {
    const route = {
      host: '127.0.0.1',
      port: peer.port,
      security: 'none' as const,
      systemId: 'clinic',
      password: 'pass',
    }
    const onFault = (error: unknown) => expect(error).toBeUndefined()
    const kept = { file: join(folder, 'data/sms-receipts.json'), onFault }
    const words = () => opened.staffWords
    const sms = smsOver({ ...route, from: 'Clinic' }, () => clock.now(), words, { takesFamilies, kept })
    const opened = await openBot({
      ...{ loaded, clock, random: systemRandom(), origin: () => 'https://feeding.example', channels: [channel] },
      dataDir: join(folder, 'data'),
      log: () => undefined,
      pagers: {
        ...{ board: boardPager(), sms },
        of: id => (id === 'sms' ? sms.pager : others),
        stop: () => sms.pager.stop(),
      },
    })
    await opened.runtime.start()
    return opened
  }
  let bot = await open()
  const textsTo = (number: string): string[] => {
    // Parts of two texts to one telephone may be sent in turns: the reference tells whose a part is.
    const texts = new Map<string, string>()
    for (const [index, pdu] of peer.submitted.entries()) {
      if (`+${pdu.destination_addr}` !== number) continue
      const reference = pdu.short_message?.udh?.[0]?.[2]
      const key = reference === undefined ? `whole ${index}` : `of ${reference}`
      texts.set(key, `${texts.get(key) ?? ''}${textOf([pdu])}`)
    }
    return [...texts.values()]
  }
  return {
    ...{ peer, told, textsTo },
    get bot() {
      return bot
    },
    async restart() {
      const before = peer.bound.length
      await bot.stop()
      bot = await open()
      await vi.waitFor(() => expect(peer.bound.length).toBeGreaterThan(before))
    },
    async say(text) {
      const body = { kind: 'text', text } as const
      await bot.runtime.receive({ channel: 'text', chat: 'family', deliveryId: text, at: clock.now(), body })
      await bot.runtime.idle()
    },
    async answers(from, text) {
      const before = textsTo(from).length
      expect(await peer.deliver(from, text)).toBe(0)
      await bot.runtime.idle()
      await vi.waitFor(() => expect(textsTo(from).length).toBeGreaterThan(before), { timeout: 10_000 })
      // An answer may be several texts: the question stands in the last.
      for (let count = before; count < textsTo(from).length; await pause(SOON_MS)) count = textsTo(from).length
      return textsTo(from).at(-1) ?? ''
    },
    pass: length => clock.advance(length, () => bot.runtime.idle()),
    async stop() {
      await bot.stop()
      await peer.stop()
      rmSync(folder, { recursive: true, force: true })
    },
  }
}

/** The demonstration's clinic, with its web calls turned into text messages to each person's number. */
function clinicIn(folder: string, onlyTexts: boolean): string {
  const clinicDir = join(folder, 'clinic')
  cpSync(DEMO_CLINIC, clinicDir, { recursive: true })
  const file = join(clinicDir, 'clinic.yaml')
  const byText = readFileSync(file, 'utf8').replaceAll(
    /- \{ pager: webhook, address: "demo:" \}\n {4}private-number: ("\+1 212 555 014\d")/g,
    '- { pager: sms, address: $1 }\n    private-number: $1',
  )
  writeFileSync(file, onlyTexts ? byText.replaceAll(/ {6}- \{ pager: smtp, .*\n(?= {6}- \{ pager: sms)/g, '') : byText)
  return clinicDir
}
