import type { Control, Incoming, Part, Question } from '../../src/case/message.ts'
import type { LogLine } from '../../src/case/view.ts'
import type { FamilyFoot } from '../../src/channels/web-page.ts'
import type { FamilyLog, WebchatPorts } from '../../src/channels/webchat/family-log.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { screenWording } from './screen-words.ts'

/** Invented numbers: 555-01xx is reserved for fiction. */
export const foot: FamilyFoot = {
  emergency: { label: 'Emergency', number: '+12025550111', shown: '555-0111' },
  clinic: {
    label: 'Feeding clinic',
    number: '+12025550123',
    shown: '202-555-0123',
    words: 'ask for the feeding nurse',
  },
}

export const advice = (id: string, text: string, ...tags: string[]): Part => ({ kind: 'advice', id, text, tags })

const holding: readonly Part[] = [
  advice('a-cover', 'Cover the opening with a clean, dry cloth.', 'cover-opening'),
  advice('a-nothing', 'Put nothing into the opening for now.', 'nothing-into-opening'),
  advice('a-stop', 'Stop the feed. Turn the pump off.', 'stop-feed'),
  advice('a-keep', 'Keep the tube that came out. You will need it.', 'keep-tube'),
]

type Ask = Omit<Question, 'kind' | 'serial'>

/** Questions of the played conversation, in order: single tap, drawings, several, moment, phone. */
export const asks: readonly Ask[] = [
  {
    fact: 'danger-signs',
    text: 'Look at your child now. If they are asleep, wake them.\nDo you see any of these? Tap the first one you see.',
    why: 'Some signs cannot wait',
    more: 4,
    several: false,
    accepts: 'words',
    options: [
      { value: 'breathing', label: 'Fighting to breathe' },
      { value: 'colour', label: 'Lips or tongue blue or grey, or skin blotchy' },
      { value: 'drowsy', label: 'Floppy or hard to wake' },
      { value: 'fit', label: 'A fit' },
      { value: 'heavy-bleeding', label: 'Blood that keeps coming' },
      { value: 'green-or-blood-vomit', label: 'Green or bloody vomit' },
      { value: 'hard-belly', label: 'Belly hard or very sore' },
      { value: 'rash-no-fade', label: 'A rash that stays when you press it' },
      { value: 'none', label: 'None of these', apart: true },
      { value: 'not-sure', label: 'Not sure', apart: true },
    ],
  },
  {
    fact: 'device',
    text: 'Which tube does your child have?',
    why: 'It decides what is safe',
    more: 3,
    several: false,
    accepts: 'words',
    options: [
      { value: 'balloon-button', label: 'Button, held by a balloon', drawing: 'balloon-button' },
      { value: 'balloon-long', label: 'Long tube, held by a balloon', drawing: 'balloon-long' },
      { value: 'no-balloon', label: 'Held by a soft bumper, no balloon', drawing: 'no-balloon' },
      { value: 'into-bowel', label: 'Goes on into the bowel', drawing: 'into-bowel' },
      { value: 'nasal', label: 'Through the nose', drawing: 'nasal' },
      { value: 'not-sure', label: 'Not sure', drawing: 'unsure', apart: true },
    ],
  },
  {
    fact: 'taught',
    text: 'What has a nurse or doctor taught you to do?',
    more: 2,
    several: true,
    accepts: 'words',
    options: [
      { value: 'replace', label: 'Put a tube back in' },
      { value: 'hold-open', label: 'Hold the opening with a smaller tube' },
      { value: 'ph-check', label: 'Test fluid with a strip' },
      { value: 'none', label: 'None of these', apart: true },
      { value: 'not-sure', label: 'Not sure', apart: true },
    ],
  },
  {
    fact: 'out-since',
    text: 'When did the tube come out? Your best guess is fine.',
    more: 1,
    several: false,
    accepts: 'moment',
    options: [
      { value: 'just-now', label: 'Just now' },
      { value: 'not-sure', label: 'Not sure', apart: true },
    ],
  },
  {
    fact: 'ring-back',
    text: 'What number can we ring?',
    several: false,
    accepts: 'phone',
    options: [{ value: 'write-only', label: 'Write to me only', apart: true }],
  },
]

/** A family's side of the bot, in memory: enough to play a whole conversation, nothing decided. */
export interface WebFamily {
  readonly ports: WebchatPorts
  /** Everything handed to the bot, duplicates dropped as the store drops them. */
  readonly received: Incoming[]
  /** Every call, duplicates too. */
  readonly calls: Incoming[]
  logOf(chat: string): FamilyLog
  /** Adds a line to a chat, as a step of the bot does. */
  say(chat: string, line: Omit<LogLine, 'at' | 'reached'>): void
  setLog(chat: string, change: Partial<FamilyLog>): void
  failWith(error: unknown): void
  moveClock(ms: number): void
}

export function webFamily(over: Partial<WebchatPorts> = {}): WebFamily {
  let now = Date.parse('2026-03-01T02:09:00Z')
  let ids = 0
  let failure: unknown
  const logs = new Map<string, FamilyLog>()
  const received: Incoming[] = []
  const calls: Incoming[] = []
  const seen = new Set<string>()
  const logOf = (chat: string): FamilyLog => logs.get(chat) ?? { lines: [], changeable: [], controls: [] }
  const setLog = (chat: string, change: Partial<FamilyLog>): void => void logs.set(chat, { ...logOf(chat), ...change })
  const say = (chat: string, line: Omit<LogLine, 'at' | 'reached'>): void =>
    setLog(chat, {
      lines: [
        ...logOf(chat).lines,
        { ...line, at: instant(now), reached: line.speaker.kind === 'family' ? 'received' : 'delivered' },
      ],
    })

  const bot = (chat: string, parts: readonly Part[], question: Question | undefined): void => {
    say(chat, { speaker: { kind: 'bot' }, parts: question === undefined ? parts : [...parts, question] })
    const { question: _, ...rest } = logOf(chat)
    logs.set(chat, question === undefined ? rest : { ...rest, question })
  }
  const questionAt = (serial: number): Question | undefined => {
    const ask = asks[serial - 1]
    return ask === undefined ? undefined : { kind: 'question', serial, ...ask }
  }

  function answer(chat: string, said: string, open: Question): void {
    say(chat, { speaker: { kind: 'family' }, parts: [], said })
    const changeable = [...logOf(chat).changeable, { fact: open.fact, label: open.fact, answer: said }]
    setLog(chat, { changeable, controls: ['cannot-travel', 'person', 'show-handover', 'new-child'], code: 'Sun 4719' })
    bot(chat, [{ kind: 'notice', id: 'n-thanks', text: 'Thank you.' }], questionAt(open.serial + 1))
  }

  function take(incoming: Incoming): void {
    const { chat, body } = incoming
    const open = logOf(chat).question
    if (open === undefined && logOf(chat).lines.length === 0) {
      say(chat, { speaker: { kind: 'family' }, parts: [], said: body.kind === 'text' ? body.text : 'The tube is out' })
      bot(
        chat,
        [
          { kind: 'notice', id: 'n-bot', text: "Good that you wrote. This is the clinic's bot, not a person." },
          ...holding,
        ],
        questionAt(1),
      )
      setLog(chat, { controls: ['person', 'show-handover', 'new-child'] })
    } else if (body.kind === 'text') {
      if (open === undefined) say(chat, { speaker: { kind: 'family' }, parts: [], said: body.text })
      else answer(chat, body.text, open)
    } else if (body.kind === 'choice' && open?.serial === body.serial) {
      answer(chat, body.values.map(value => open.options.find(o => o.value === value)?.label ?? value).join(', '), open)
    } else if (body.kind === 'control') {
      say(chat, { speaker: { kind: 'family' }, parts: [], said: controlSaid(body.control) })
      bot(chat, [{ kind: 'notice', id: 'n-paged', text: 'We are paging the on-call clinician.' }], open)
    }
  }

  return {
    received,
    calls,
    logOf,
    say,
    setLog,
    failWith(error) {
      failure = error
    },
    moveClock(ms) {
      now += ms
    },
    ports: {
      async receive(incoming) {
        calls.push(incoming)
        if (failure !== undefined) throw failure
        if (seen.has(incoming.deliveryId)) return
        seen.add(incoming.deliveryId)
        received.push(incoming)
        take(incoming)
      },
      log: async ({ chat }) => logOf(chat),
      clock: { now: () => instant(now), text: clockText, day: dayText },
      randomId: () => `id-${String(++ids).padStart(24, '0')}`,
      foot: () => foot,
      firstAdvice: () => holding,
      concerns: () => [
        { id: 'tube-out', label: 'The tube is out' },
        { id: 'clogged', label: 'The tube is blocked' },
        { id: 'someone', label: 'Something else' },
      ],
      wording: screenWording,
      demonstration: true,
      ...over,
    },
  }
}

function controlSaid(control: Control): string {
  return screenWording(`control-${control}`)
}

export function clockText(at: Instant): string {
  return new Date(at)
    .toLocaleTimeString('en-US', { hour: 'numeric', minute: '2-digit', timeZone: 'UTC' })
    .toLowerCase()
    .replace(' ', ' ')
}

export function dayText(at: Instant): string {
  return new Date(at).toLocaleDateString('en-GB', { weekday: 'long', day: 'numeric', month: 'long', timeZone: 'UTC' })
}
