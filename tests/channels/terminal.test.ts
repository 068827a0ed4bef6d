import { PassThrough, Readable } from 'node:stream'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { Incoming, Outgoing, Part, Question } from '../../src/case/message.ts'
import { type TerminalPorts, type TerminalSpoken, terminal } from '../../src/channels/terminal/terminal.ts'
import { typed } from '../../src/channels/terminal/typed.ts'
import { plainText } from '../../src/channels/text-plain.ts'
import { instant, type Milliseconds } from '../../src/time/instant.ts'
import { screenWording, spanishScreen } from '../support/screen-words.ts'
import { advice, asks, clockText, foot } from '../support/web-family.ts'

const question = (over: Partial<Question> = {}): Question => ({
  kind: 'question',
  serial: 7,
  ...(asks[0] as (typeof asks)[number]),
  ...over,
})

const spoken: TerminalSpoken = {
  clockText,
  foot,
  firstAdvice: () => [advice('a', 'Cover the opening.'), advice('b', 'Stop the feed.')],
  concerns: () => [
    { id: 'tube-out', label: 'The tube came out' },
    { id: 'clogged', label: 'The tube is blocked' },
  ],
  wording: screenWording,
}

/** A terminal whose bot answers each message with the next of `replies`. */
function talk(over: Partial<TerminalPorts>, replies: readonly (readonly Part[])[] = []) {
  const received: Incoming[] = []
  const output = new PassThrough()
  const waits: Milliseconds[] = []
  const pending: Outgoing[] = []
  let ids = 0
  const channel = terminal({
    async receive(incoming) {
      const parts = replies[received.length]
      received.push(incoming)
      if (parts !== undefined) pending.push(reply(parts))
    },
    async settled() {
      for (const outgoing of pending.splice(0)) await channel.deliver(outgoing)
    },
    wait: async length => {
      waits.push(length)
    },
    now: () => instant(0),
    randomId: () => `id-${++ids}`,
    spoken: language => ({ ...spoken, wording: language === 'es' ? spanishScreen : screenWording }),
    demonstration: true,
    input: Readable.from([]),
    output,
    ...over,
  })
  const run = async (): Promise<string> => {
    await channel.start()
    await channel.ended
    return output.read()?.toString() ?? ''
  }
  return { channel, received, waits, run }
}

function reply(parts: readonly Part[], over: Partial<Outgoing> = {}): Outgoing {
  return {
    channel: 'terminal',
    chat: 'here',
    caseId: 'c',
    effectId: 'c-1-0',
    at: instant(Date.parse('2026-03-01T02:09:00Z')),
    parts,
    repeated: false,
    audible: true,
    ...over,
  }
}

describe('a conversation', () => {
  test('prints the holding advice, both numbers, the caution and the demonstration notice before anything is sent', async () => {
    const { run, received } = talk({})
    const printed = await run()
    for (const text of [
      '1. Cover the opening.',
      '2. Stop the feed.',
      '555-0111',
      '202-555-0123',
      'never replaces',
      'not approved for care',
    ])
      expect(printed).toContain(text)
    expect(received).toEqual([])
  })

  test('every trouble is on the first screen, and a number chooses one', async () => {
    const { run, received } = talk({ input: Readable.from(['2\n']) })
    expect(await run()).toMatch(/What is wrong\?\n {4}1\) The tube came out\n {4}2\) The tube is blocked/)
    expect(received.map(({ body }) => body)).toEqual([{ kind: 'choice', serial: 0, values: ['clogged'] }])
  })

  test('what stands around a reply, and the help, are in the language of the case', async () => {
    const { channel, run } = talk({ script: ['help'] })
    await channel.deliver(reply([question()], { language: 'es' }))
    const printed = await run()
    expect(printed).toContain('Bot de la clínica')
    expect(printed).toContain('más o menos 4 más')
    expect(printed).toContain('decirlo con sus palabras')
  })

  test('piped lines become words and taps, each after the reply to the one before', async () => {
    const input = Readable.from(['his tube is out\n', '9\n', 'person\n'])
    const { run, received } = talk({ input }, [[question()], []])
    await run()
    expect(received.map(i => i.body)).toEqual([
      { kind: 'text', text: 'his tube is out' },
      { kind: 'choice', serial: 7, values: ['none'] },
      { kind: 'control', control: 'person' },
    ])
    expect(new Set(received.map(i => i.deliveryId)).size).toBe(3)
  })

  test('a script is printed as it is sent, and its comments and waits are kept out of the messages', async () => {
    const script = ['# a night', 'tube out', 'wait 20', 'they rang', 'quit', 'never sent']
    const { run, received, waits } = talk({ script })
    const printed = await run()
    expect(printed).toContain('> tube out')
    expect(received.map(i => i.body.kind)).toEqual(['text', 'control'])
    expect(waits).toEqual([20 * 60_000])
  })

  test('a reply shows time, speaker, numbered advice, numbered options with the quiet answers last, and both numbers', async () => {
    const parts = [
      { kind: 'withdrawn', id: 'w', text: 'Stop: do not cover.', tags: [] } as const,
      advice('a', 'Ring now.'),
      question(),
    ]
    const { run } = talk({ input: Readable.from(['x\n']) }, [parts])
    const printed = await run()
    const reply = printed.slice(printed.indexOf('2:09'))
    expect(reply).toMatch(/^2:09.am {2}Clinic's bot\n {2}! Stop: do not cover\.\n {2}Ring now\./)
    expect(reply).toContain('1) Fighting to breathe')
    expect(reply).toContain('9) None of these\n    10) Not sure')
    expect(reply).toContain('about 4 more')
    expect(reply).toContain('Emergency: 555-0111')
  })

  test('advice is numbered to the end of the reply, over a notice in between', async () => {
    const parts = [
      advice('a', 'Leave now.'),
      { kind: 'notice', id: 'n', text: 'Somebody else reads this out.' } as const,
      advice('b', 'Worse? Ring.'),
    ]
    const { run } = talk({ input: Readable.from(['x\n']) }, [parts])
    expect(await run()).toContain('  1. Leave now.\n  Somebody else reads this out.\n  2. Worse? Ring.\n')
  })

  test('a clinician is named with the role, their words in quotation marks, a repeat labelled', async () => {
    const { channel, run } = talk({})
    await channel.deliver(
      reply([{ kind: 'person', name: 'R. Example', role: 'on-call nurse', text: 'Go in now.' }], { repeated: true }),
    )
    const printed = await run()
    expect(printed).toContain('R. Example, on-call nurse (may be a repeat)\n  "Go in now."')
  })

  test('a message that could not be taken is said, with the numbers, and the next one still goes', async () => {
    let calls = 0
    const { run } = talk({
      input: Readable.from(['a\n', 'b\n']),
      receive: async () => {
        calls += 1
        throw new Error('secret')
      },
    })
    const printed = await run()
    expect(calls).toBe(2)
    expect(printed).toContain('may not have been taken')
    expect(printed).not.toContain('secret')
  })
})

describe('what a typed line means', () => {
  const several = question({ several: true })
  const number = question({ accepts: 'number' })
  const table: [string, Question | undefined, object][] = [
    ['1', question(), { kind: 'choice', serial: 7, values: ['breathing'] }],
    ['10', question(), { kind: 'choice', serial: 7, values: ['not-sure'] }],
    ['11', question(), { kind: 'text', text: '11' }],
    ['0', question(), { kind: 'text', text: '0' }],
    ['1 2', question(), { kind: 'text', text: '1 2' }],
    ['1, 3', several, { kind: 'choice', serial: 7, values: ['breathing', 'drowsy'] }],
    ['1 1', several, { kind: 'choice', serial: 7, values: ['breathing'] }],
    ['1 99', several, { kind: 'text', text: '1 99' }],
    // A bare number may be the answer itself: a pH of 5 is never taken for option 5.
    ['5', number, { kind: 'text', text: '5' }],
    ['#5', number, { kind: 'choice', serial: 7, values: ['heavy-bleeding'] }],
    ['2', question({ accepts: 'duration' }), { kind: 'text', text: '2' }],
    ['2', undefined, { kind: 'text', text: '2' }],
    ['PERSON', undefined, { kind: 'control', control: 'person' }],
    ['a person rang', undefined, { kind: 'text', text: 'a person rang' }],
    ["can't travel", undefined, { kind: 'control', control: 'cannot-travel' }],
    ['change out-since', undefined, { kind: 'control', control: 'change', subject: 'out-since' }],
    ['change the tube?', undefined, { kind: 'text', text: 'change the tube?' }],
    ['constructor', undefined, { kind: 'text', text: 'constructor' }],
    ['', undefined, { kind: 'text', text: '' }],
  ]
  test.each(table)('%j', (line, open, body) => {
    expect(typed(line, open)).toEqual({ kind: 'send', body })
  })
})

describe('text from anyone is printed as it stands', () => {
  // ECMA-48: escape sequences begin with ESC (1/11) or a C1 control (8/0 to 9/15).
  test('no escape, control or direction mark reaches the terminal', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'binary', maxLength: 200 }), text => {
        expect(plainText(text)).not.toMatch(/(?!\n)[\p{Cc}\u202a-\u202e\u2066-\u2069]/u)
      }),
    )
  })

  test('what steered is shown, and ordinary letters of any script stay', () => {
    expect(plainText('\u001b[2Jgone\u009b31m')).toBe('\\x1b[2Jgone\\x9b31m')
    expect(plainText('a\tb\r\nc')).toBe('a b\nc')
    expect(plainText('¿Le cuesta? – año 日本')).toBe('¿Le cuesta? – año 日本')
    expect(plainText('\u202egnp.exe')).toBe('\\u202egnp.exe')
  })

  test('in names, labels and advice alike', async () => {
    const hostile = '\u001b]0;owned\u0007'
    const { channel, run } = talk({ input: Readable.from([]) })
    await channel.deliver(
      reply([
        advice('a', hostile),
        question({ text: hostile, why: hostile, options: [{ value: 'x', label: hostile }] }),
        { kind: 'person', name: hostile, role: hostile, text: hostile },
      ]),
    )
    expect(await run()).not.toMatch(/(?!\n)\p{Cc}/u)
  })
})
