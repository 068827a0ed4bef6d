import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { Control, Incoming } from '../../src/case/message.ts'
import type { CaseState } from '../../src/case/state.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { DISPOSITIONS } from '../../src/flow/document.ts'
import '../support/seed.ts'
import { hostileText } from './hostile-text.ts'
import { NIGHT } from './night-line.ts'
import { type TalkLine, talkLine } from './talk-line.ts'

const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: NIGHT })
if (loaded === undefined) throw new Error('the demonstration does not load')

/** More with LONG=1. */
const isLong = process.env.LONG === '1'
const RUNS = isLong ? 3_000 : 80

const DANGER = [
  'she is not breathing',
  'his lips are blue',
  "I can't wake her",
  'he is having a fit',
  'blood is pouring out',
  'green vomit',
  'her belly is rock hard',
]

/** One thing a family does. What it taps is worked out from what stands open when its turn comes. */
type Act =
  | { readonly kind: 'say'; readonly text: string }
  | { readonly kind: 'danger'; readonly text: string }
  /** Taps an option of the open question by place; `stale` names an earlier number instead. */
  | { readonly kind: 'tap'; readonly option: number; readonly stale: number }
  /** Taps a value that another question has. */
  | { readonly kind: 'forge'; readonly value: string; readonly serial: number }
  | { readonly kind: 'control'; readonly control: Control; readonly subject: string | undefined }

const said = fc.constantFrom(
  'her tube came out',
  'the tube is back in now',
  'nothing in it',
  'none of these',
  'long tube with a balloon',
  'yes',
  'no',
  'yes and no',
  'not sure',
  '20 minutes ago',
  'at 3',
  'tomorrow',
  '25 minutes',
  '202 555 0142',
  '6 weeks ago',
  'talk to a person',
  "we can't get there",
  'we have left',
  'we are here',
  'they rang me',
  'wrong tap',
  'Yes, the whole tube',
  'my other child too',
  'thanks',
  '2',
  'help',
)
const act: fc.Arbitrary<Act> = fc.oneof(
  {
    weight: 6,
    arbitrary: fc.record({
      kind: fc.constant('tap' as const),
      option: fc.nat(11),
      stale: fc.constantFrom(0, 0, 0, 0, 1),
    }),
  },
  { weight: 4, arbitrary: fc.record({ kind: fc.constant('say' as const), text: said }) },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant('say' as const), text: hostileText }) },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant('danger' as const),
      text: fc
        .tuple(hostileText, fc.constantFrom(...DANGER), hostileText)
        .map(([before, sign, after]) => `${before}.\n${sign}.\n${after}`),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant('forge' as const),
      value: fc.constantFrom('write-only', 'constructor', '__proto__', 'just-now', 'none', 'same-tube', 'yes', ''),
      serial: fc.constantFrom(-1, 1, 2, 3, 999, Number.MAX_SAFE_INTEGER),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      kind: fc.constant('control' as const),
      control: fc.constantFrom<Control>(
        'person',
        'wrong-tap',
        'they-rang',
        'cannot-travel',
        'change',
        'show-handover',
        'start',
      ),
      subject: fc.constantFrom(undefined, 'in-opening', 'danger-signs', 'device', 'travel', '__proto__'),
    }),
  },
)
const family = fc.array(act, { minLength: 3, maxLength: isLong ? 30 : 12 })

/** Which message comes next, and how often each comes again, at once or later on. */
const delivery = fc.record({
  turns: fc.array(fc.boolean(), { minLength: 60, maxLength: 60 }),
  again: fc.array(
    fc.oneof(
      { weight: 5, arbitrary: fc.constant(0) },
      { weight: 2, arbitrary: fc.nat(3) },
      { weight: 1, arbitrary: fc.nat(39) },
    ),
    { minLength: 60, maxLength: 60 },
  ),
  late: fc.array(fc.tuple(fc.nat(59), fc.nat(59)), { maxLength: 8 }),
})

interface Sent {
  readonly chat: string
  readonly deliveryId: string
  readonly body: Incoming['body']
}

function bodyOf(one: Act, state: CaseState | undefined, line: TalkLine, chat: string): Incoming['body'] {
  switch (one.kind) {
    case 'say':
    case 'danger':
      return { kind: 'text', text: one.text }
    case 'forge':
      return {
        kind: 'choice',
        serial: one.serial === -1 ? (state?.open?.serial ?? 1) : one.serial,
        values: [one.value],
      }
    case 'control':
      return { kind: 'control', control: one.control, ...(one.subject === undefined ? {} : { subject: one.subject }) }
    case 'tap': {
      const question = line.delivered
        .filter(outgoing => outgoing.chat === chat)
        .flatMap(outgoing => outgoing.parts.flatMap(part => (part.kind === 'question' ? [part] : [])))
        .findLast(part => part.serial === state?.open?.serial)
      // With nothing asked, the big button of the first screen.
      if (question === undefined) return { kind: 'choice', serial: 0, values: ['tube-out'] }
      const option = question.options[one.option % question.options.length]
      return { kind: 'choice', serial: Math.max(0, question.serial - one.stale), values: [option?.value ?? ''] }
    }
  }
}

const urgency = (state: CaseState | undefined): number =>
  state?.disposition === undefined ? DISPOSITIONS.length : DISPOSITIONS.indexOf(state.disposition.id)

/** One act, and what has to hold after any. */
async function does(line: TalkLine, chat: string, number: number, one: Act): Promise<Sent> {
  const before = await line.states(chat)
  const latest = before.findLast(state => !state.closed) ?? before.at(-1)
  const sent = { chat, deliveryId: `${chat}-${number}`, body: bodyOf(one, latest, line, chat) }
  const told = line.delivered.length
  await line.receive(chat, sent.deliveryId, sent.body)
  const after = await line.states(chat)
  const what = JSON.stringify(one)
  // Never silence: whoever wrote is answered, and with something to read.
  const answers = line.delivered.slice(told).filter(outgoing => outgoing.chat === chat)
  expect(
    answers.flatMap(({ parts }) => parts).some(part => part.text.trim() !== ''),
    `silence after ${what}`,
  ).toBe(true)
  if (one.kind === 'danger') {
    const texts = answers.flatMap(({ parts }) => parts.map(part => part.text)).join('\n')
    expect(texts, what).toContain('Ring 911 now.')
    expect(
      after.some(state => state.disposition?.id === 'ambulance'),
      what,
    ).toBe(true)
  }
  // Never milder by itself: only an earlier answer that was asked again and given anew may do that.
  before.forEach((state, at) => {
    const now = after[at]
    const isCorrection = state.open?.changing === true || Object.values(state.answers).some(({ given }) => given)
    if (!isCorrection) expect(urgency(now), what).toBeLessThanOrEqual(urgency(state))
    if (state.danger !== undefined) expect(urgency(now), what).toBe(0)
  })
  return sent
}

/** A state without what is drawn by chance. */
const kept = (states: readonly CaseState[]): unknown => states.map(({ code: _code, ...rest }) => rest)

/** The family alone, each message once. */
async function alone(chat: string, acts: readonly Act[]): Promise<unknown> {
  const line = await talkLine(loaded as NonNullable<typeof loaded>, NIGHT)
  for (const [number, one] of acts.entries()) await does(line, chat, number, one)
  const states = kept(await line.states(chat))
  expect(line.faults, 'faults').toEqual([])
  await line.stop()
  return states
}

describe('whole conversations', { timeout: isLong ? 3_600_000 : 180_000 }, () => {
  test(`two families at once, each message up to 40 times, at once or late: the same end as each alone, once`, async () => {
    await fc.assert(
      fc.asyncProperty(family, family, delivery, async (first, second, plan) => {
        const ends = [await alone('a', first), await alone('b', second)]
        const line = await talkLine(loaded as NonNullable<typeof loaded>, NIGHT)
        const sent: Sent[] = []
        const next = { a: 0, b: 0 }
        for (let turn = 0; next.a < first.length || next.b < second.length; turn += 1) {
          const isFirst = next.b >= second.length || (next.a < first.length && plan.turns[turn % 60] === true)
          const [chat, acts] = isFirst ? (['a', first] as const) : (['b', second] as const)
          const one = acts[next[chat]]
          if (one === undefined) continue
          const message = await does(line, chat, next[chat], one)
          next[chat] += 1
          sent.push(message)
          for (let again = 0; again < (plan.again[turn % 60] ?? 0); again += 1)
            await line.receive(message.chat, message.deliveryId, message.body)
          // A message of long ago comes once more.
          for (const [at, which] of plan.late) {
            const old = at === turn ? sent[which % sent.length] : undefined
            if (old !== undefined) await line.receive(old.chat, old.deliveryId, old.body)
          }
        }
        expect(kept(await line.states('a'))).toEqual(ends[0])
        expect(kept(await line.states('b'))).toEqual(ends[1])
        expect(line.faults).toEqual([])
        await line.stop()
      }),
      { numRuns: RUNS },
    )
  })

  test('messages of a family in another order: each is answered, danger is heard, nothing gets milder', async () => {
    await fc.assert(
      fc.asyncProperty(family, fc.array(fc.nat(30), { maxLength: 6 }), async (acts, swaps) => {
        const order = [...acts]
        for (const at of swaps) {
          const [one, other] = [order[at % order.length], order[(at + 1) % order.length]]
          if (one !== undefined && other !== undefined) {
            order[at % order.length] = other
            order[(at + 1) % order.length] = one
          }
        }
        await alone('a', order)
      }),
      { numRuns: RUNS },
    )
  })
})
