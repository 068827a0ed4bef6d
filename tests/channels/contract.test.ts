import { PassThrough, Writable } from 'node:stream'
import { vi } from 'vitest'
import type { Incoming, Outgoing, Question } from '../../src/case/message.ts'
import { smsChannel } from '../../src/channels/sms/sms.ts'
import { statusMessages } from '../../src/channels/telegram/status.ts'
import { telegramChannel } from '../../src/channels/telegram/telegram.ts'
import { terminal } from '../../src/channels/terminal/terminal.ts'
import { webchat } from '../../src/channels/webchat/webchat.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import type { Sent } from '../../src/sms/centre.ts'
import { type Arrived, arrived } from '../../src/telegram/arrived.ts'
import { apiOf, connection } from '../../src/telegram/connection.ts'
import { instant } from '../../src/time/instant.ts'
import { botApi } from '../support/bot-api/bot-api.ts'
import { screenWording } from '../support/screen-words.ts'
import { advice, clockText, foot, webFamily } from '../support/web-family.ts'
import { type ChannelBench, channelContract, type Trouble } from './channel-contract.ts'

const NIGHT = instant(Date.parse('2026-03-01T07:10:00Z'))
const around = { wording: screenWording, foot: () => foot }
const questionOf = (outgoing: Outgoing): Question | undefined =>
  outgoing.parts.findLast(part => part.kind === 'question')

channelContract('web chat', async () => {
  const family = webFamily()
  const received: Incoming[] = []
  const channel = webchat({
    ...family.ports,
    receive: async incoming => {
      received.push(incoming)
    },
  })
  let question: Question | undefined
  const cookie = 'smallhours=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa'
  const page = async (path: string, init: RequestInit = {}) =>
    channel.fetch(
      new Request(`http://localhost${path}`, {
        ...init,
        headers: { ...init.headers, cookie: cookieNow, 'sec-fetch-site': 'same-origin' },
      }),
    )
  let cookieNow = cookie
  const first = await channel.fetch(new Request('http://localhost/'))
  cookieNow = (first.headers.get('set-cookie') ?? cookie).split(';')[0] ?? cookie
  let last: URLSearchParams | undefined
  let nonce = 0
  const post = async (fields: Record<string, string>): Promise<void> => {
    nonce += 1
    last = new URLSearchParams({ nonce: `nonce-nonce-${nonce}`, ...fields })
    await page('/say', { method: 'POST', body: last })
  }
  await post({ text: 'x' })
  const chat = received.pop()?.chat ?? ''
  const deliver = channel.deliver.bind(channel)
  return {
    chat,
    received,
    troubles: [],
    isolatesWords: true,
    channel: {
      ...channel,
      async deliver(outgoing) {
        question = questionOf(outgoing) ?? question
        const person = outgoing.parts.find(part => part.kind === 'person')
        const speaker =
          person === undefined
            ? ({ kind: 'bot' } as const)
            : ({ kind: 'clinician', name: person.name, role: person.role } as const)
        family.say(chat, { speaker, parts: outgoing.parts })
        if (question !== undefined) family.setLog(chat, { question })
        return deliver(outgoing)
      },
    },
    reads: async () =>
      (await (await page('/')).text()).replaceAll(/<(?:script|style)[\s\S]*?<\/(?:script|style)>/g, ''),
    says: text => post({ text }),
    chooses: label =>
      post({
        serial: String(question?.serial),
        value: question?.options.find(one => one.label === label)?.value ?? '',
      }),
    againSame: async () => {
      await page('/say', { method: 'POST', body: last ?? '' })
    },
    stop: () => channel.stop(),
  } satisfies ChannelBench
})

channelContract('terminal', async () => {
  const received: Incoming[] = []
  const input = new PassThrough()
  let printed = ''
  let count = 0
  let question: Question | undefined
  const channel = terminal({
    ...{ input, demonstration: true, now: () => NIGHT, settled: async () => undefined },
    randomId: () => `id-${++count}`,
    receive: async incoming => {
      received.push(incoming)
    },
    spoken: () => ({ clockText, foot, wording: screenWording, firstAdvice: () => [], concerns: () => [] }),
    output: new Writable({
      write(chunk, _encoding, done) {
        printed += String(chunk)
        done()
      },
    }),
  })
  await channel.start()
  const type = async (line: string): Promise<void> => {
    const before = received.length
    input.write(`${line}\n`)
    await vi.waitFor(
      () => {
        if (received.length === before) throw new Error('not handed in yet')
      },
      { interval: 5 },
    )
  }
  return {
    ...{ chat: 'here', received, troubles: [], says: type, reads: async () => printed, stop: () => channel.stop() },
    channel: {
      ...channel,
      deliver(outgoing) {
        question = questionOf(outgoing) ?? question
        return channel.deliver(outgoing)
      },
    },
    chooses: label => type(String(printed.match(new RegExp(`(\\d+)\\) ${label}`))?.[1] ?? question?.serial)),
  } satisfies ChannelBench
})

channelContract('text messages', async () => {
  const received: Incoming[] = []
  const texts: string[] = []
  let next: Sent = { kind: 'accepted' }
  let question: Question | undefined
  let ids = 0
  const channel = smsChannel({
    centre: {
      async send(_to, text) {
        const outcome = next
        next = { kind: 'accepted' }
        if (outcome.kind === 'accepted') texts.push(text)
        return outcome
      },
    },
    receive: async incoming => {
      received.push(incoming)
    },
    openQuestion: async () => question,
    spoken: () => ({ wording: screenWording, foot }),
    clinicName: () => 'Harbour Lights',
    now: () => NIGHT,
    randomId: () => `id-${++ids}`,
  })
  const outcomes: Readonly<Record<Trouble, Sent>> = {
    gone: { kind: 'refused', reason: 'no such number' },
    busy: { kind: 'failed', reason: 'queue full', retryAfterMs: 5_000 },
    'lost-answer': { kind: 'unknown', reason: 'no answer' },
    unreachable: { kind: 'failed', reason: 'not connected' },
  }
  const chat = '+12125550177'
  return {
    ...{ chat, received, troubles: ['gone', 'busy', 'lost-answer', 'unreachable'] },
    trouble: what => {
      next = outcomes[what]
    },
    channel: {
      ...channel,
      deliver(outgoing) {
        question = questionOf(outgoing) ?? question
        return channel.deliver(outgoing)
      },
    },
    reads: async () => texts.join('\n'),
    says: text => channel.take(chat, text),
    chooses: label => channel.take(chat, new RegExp(`(\\d)\\) ${label}`).exec(texts.join('\n'))?.[1] ?? ''),
    stop: () => channel.stop(),
  } satisfies ChannelBench
})

channelContract('Telegram', async () => {
  const clock = handClock(NIGHT)
  const api = await botApi({ clock })
  const phone = api.user(90_001)
  const received: Incoming[] = []
  let question: Question | undefined
  const calls = connection({ api: apiOf(api.token, api.root), monotonicMs: () => clock.monotonicMs() })
  const sign = (what: string) => Buffer.from(what).toString('base64url').slice(-11)
  const channel = telegramChannel({
    ...{
      connection: calls,
      say: async () => undefined,
      sign,
      now: () => clock.now(),
      clinicName: () => 'Harbour Lights',
      dangerSigns: [],
      drawing: () => undefined,
    },
    receive: async incoming => {
      received.push(incoming)
    },
    chatNow: async () => ({
      isOpen: true,
      questions: () => (question === undefined ? [] : [question]),
      changeable: () => [],
      desk: () => undefined,
      controls: [],
    }),
    spoken: () => ({
      ...around,
      firstAdvice: () => [advice('a', 'Cover the opening.')],
      concerns: () => [{ id: 'tube-out', label: 'The tube came out' }],
    }),
    languages: [{ tag: 'en', name: 'English' }],
    status: statusMessages({
      connection: calls,
      sign,
      clock,
      statusOf: async () => undefined,
      places: { of: () => undefined, keep: () => undefined, forget: () => undefined, all: () => [] },
    }),
    deliveryId: key => `tg.${key}`,
  })
  let last: Arrived | undefined
  /** Data of the buttons as they first stood: a pressed question keeps only its answer. */
  const data = new Map<string, string>()
  /** Fetches what the phone did as the poller does, and hands it in. */
  const bring = async (): Promise<void> => {
    const answer = await fetch(`${api.root}/bot${api.token}/getUpdates`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ offset: -1 }),
    })
    const { result } = (await answer.json()) as { result: Parameters<typeof arrived>[0][] }
    last = arrived(result.at(-1) as Parameters<typeof arrived>[0])
    await again()
  }
  const again = async (): Promise<void> => {
    if (last !== undefined && last.kind !== 'elsewhere' && last.kind !== 'nothing' && last.kind !== 'blocked')
      await channel.take(last)
  }
  const faults = {
    gone: { code: 403, description: 'Forbidden: bot was blocked by the user' },
    busy: { code: 429, description: 'Too Many Requests: retry after 3', parameters: { retry_after: 3 } },
    'lost-answer': 'lost-reply',
    unreachable: 'reset',
  } as const
  return {
    chat: '90001',
    received,
    // Last, since the chat is then left alone for a while.
    troubles: ['gone', 'lost-answer', 'unreachable', 'busy'],
    trouble: what => api.fail(({ method }) => method === 'sendMessage', faults[what]),
    channel: {
      ...channel,
      async deliver(outgoing) {
        question = questionOf(outgoing) ?? question
        const outcome = await channel.deliver(outgoing)
        for (const button of phone.shown.at(-1)?.buttons.flat() ?? [])
          if ('callback_data' in button) data.set(button.text, button.callback_data)
        return outcome
      },
    },
    reads: async () =>
      phone.shown
        .map(({ text, buttons }) => [text, ...buttons.flat().map(button => button.text)].join('\n'))
        .join('\n'),
    async says(text) {
      phone.says(text)
      await bring()
    },
    async chooses(label) {
      phone.press(data.get(label) ?? '', phone.shown.at(-1)?.id)
      await bring()
    },
    againSame: again,
    async stop() {
      await channel.stop()
      await api.stop()
    },
  } satisfies ChannelBench
})
