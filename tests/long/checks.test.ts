/** The long run's own checks: each reports what it is there for, so that a quiet run means something. */
import { describe, expect, test } from 'vitest'
import { type CallOutHappening, moved } from './call-outs.ts'
import { draws } from './draws.ts'
import { linesIn, type ReadLine, readPage } from './family-page.ts'
import { newLedger } from './ledger.ts'
import {
  answeredInTime,
  everyAddress,
  firstDecisions,
  growthMbAnHour,
  holdingAdviceFirst,
  memoryFlat,
  noReplyTwice,
  onceInTheLog,
  ownWordsOnly,
  type Post,
  pagedInTime,
  pageOnce,
  quantile,
  type Sample,
} from './promises.ts'
import { shippedLines } from './shipped-lines.ts'

const post = (over: Partial<Post> = {}): Post => ({
  chat: 1,
  said: 'None of these',
  sentAt: 1_000,
  takenAt: 1_050,
  answeredMs: 80,
  saysOut: false,
  ...over,
})
const family = (words: string, at = 1_000): ReadLine => ({ at, who: 'family', words, text: '' })
const bot = (text: string, at = 1_010): ReadLine => ({ at, who: 'bot', text })

describe('messages', () => {
  test('a message that was taken and is not in the log is reported as lost', () => {
    const posts = [post(), post({ said: 'about an hour ago' })]
    const [found, ...others] = onceInTheLog(posts, [family('None of these'), bot('Thank you.')], 1)
    expect(found).toMatchObject({ promise: 'once-in-the-log', chat: 1, what: expect.stringContaining('(lost)') })
    expect(found?.what).toContain('about an hour ago')
    expect(others).toEqual([])
  })

  test('a message that stands there twice is reported; said twice, it may', () => {
    const twice = [family('None of these'), bot('a'), family('None of these', 2_000), bot('b')]
    expect(onceInTheLog([post()], twice, 1)).toHaveLength(1)
    expect(onceInTheLog([post(), post({ sentAt: 2_000 })], twice, 1)).toEqual([])
  })

  test('words nobody sent are reported; of a message never said to be taken, either is right', () => {
    expect(onceInTheLog([], [family('a stranger')], 1)).toHaveLength(1)
    const { takenAt: _never, ...lost } = post()
    expect(onceInTheLog([lost], [], 1)).toEqual([])
    expect(onceInTheLog([lost], [family('None of these')], 1)).toEqual([])
    expect(onceInTheLog([lost], [family('None of these'), family('None of these')], 1)).toHaveLength(1)
  })

  test('an answer that is late or never comes is reported; 5 s to the millisecond is in time', () => {
    const { answeredMs: _none, ...unanswered } = post()
    expect(answeredInTime([post({ answeredMs: 5_000 })], 5_000)).toEqual([])
    expect(answeredInTime([post({ answeredMs: 5_001 })], 5_000)).toHaveLength(1)
    expect(answeredInTime([unanswered], 5_000)[0]?.what).toContain('no answer')
  })

  test('the same reply twice in a row is reported; the same words ten minutes later are not', () => {
    const line = 'Still no answer from the clinic.'
    const { begins } = shippedLines()
    expect(noReplyTwice([bot(line), bot(line, 1_500)], 1, 5_000, begins)).toHaveLength(1)
    expect(noReplyTwice([bot(line), bot(line, 601_010)], 1, 5_000, begins)).toEqual([])
    expect(noReplyTwice([bot(line), bot(`Sent again: ${line}`, 1_500)], 1, 5_000, begins)).toEqual([])
    expect(noReplyTwice([bot(begins), bot(begins, 1_500)], 1, 5_000, begins)).toEqual([])
    const asked = bot(line, 1_500).at
    expect(noReplyTwice([bot(line), bot(line, 1_500)], 1, 5_000, begins, [asked])).toEqual([])
    expect(noReplyTwice([bot(line), bot(line, 1_500)], 1, 5_000, begins, [asked + 60_000])).toHaveLength(1)
  })

  test('a first reply without the holding advice is reported', () => {
    const { holding } = shippedLines()
    expect(holding).toContain('Cover the opening with clean, dry cloth or gauze.')
    const right = post({ saysOut: true, answer: `Hello. ${holding[0]}` })
    expect(holdingAdviceFirst([right, post({ answer: 'Thank you.' })], holding)).toEqual([])
    expect(holdingAdviceFirst([post({ saysOut: true, answer: 'Thank you.' })], holding)).toHaveLength(1)
  })

  test('a planted word of another family is reported wherever it stands in the markup', () => {
    const markup = '<p class="words">tube out zqabcdefgh</p><!-- zqotherone -->'
    expect(ownWordsOnly(markup, word => word === 'zqabcdefgh', 3)).toEqual([
      { promise: 'own-words-only', chat: 3, what: 'zqotherone belongs elsewhere' },
    ])
  })

  test('what a clinician wrote and the family does not read, or reads twice, is reported', () => {
    const ledger = newLedger()
    const chat = {
      id: 4,
      family: 0,
      caregiver: '',
      seed: '',
      planted: 'zqabcdefgh',
      phone: undefined as never,
      posts: [],
      codes: new Set(['Sun 4719']),
      transcript: [],
      decided: [],
    }
    ledger.written.push({ code: 'Sun 4719', planted: 'zqwrittenn', at: Date.now() - 60_000 })
    const line: ReadLine = { at: 1, who: 'clinician', text: 'Keep it covered zqwrittenn' }
    expect(ledger.clinicianWords(chat, [])).toHaveLength(1)
    expect(ledger.clinicianWords(chat, [line])).toEqual([])
    expect(ledger.clinicianWords(chat, [line, line])).toHaveLength(1)
    ledger.plantedFor('Mon 0001', 'zqstrangee')
    ledger.look(chat, 'zqabcdefgh zqstrangee')
    expect(ledger.broken).toHaveLength(1)
  })
})

describe('pages', () => {
  const texts = { begins: "the clinic's bot", decides: ['You will need to go to'] }

  test('the first reply of each case that decides is found, in a log of two cases', () => {
    const log = [
      family('tube out'),
      bot("You have reached the clinic's bot."),
      bot('You will need to go to Harbour.', 2_000),
      bot('You will need to go to Harbour.', 3_000),
      bot("You have reached the clinic's bot.", 4_000),
      bot('You will need to go to Harbour.', 5_000),
    ]
    expect(firstDecisions(log, 1, texts).map(({ at }) => at)).toEqual([2_000, 5_000])
  })

  test('a decision without a page, or with one only later, is reported', () => {
    const decided = [{ chat: 1, at: 100_000, text: 'You will need to go to' }]
    expect(pagedInTime(decided, () => [], 5_000)).toHaveLength(1)
    expect(pagedInTime(decided, () => [105_001], 5_000)).toHaveLength(1)
    expect(pagedInTime(decided, () => [105_000], 5_000)).toEqual([])
    expect(pagedInTime(decided, () => [1_000], 5_000)).toHaveLength(1)
  })

  test('a page that comes twice unmarked is reported, and one that reached the mailbox only', () => {
    const page = { id: 'page_1', at: 1, caseId: 'c', to: 'amara', how: 'webhook', said: { repeated: false } }
    expect(pageOnce([page, page])).toHaveLength(1)
    expect(pageOnce([page, { ...page, said: { repeated: true } }])).toEqual([])
    const mail = { ...page, id: 'mail_1', how: 'mail' }
    expect(everyAddress([page, mail], 100)).toEqual([])
    expect(everyAddress([mail], 100)).toHaveLength(1)
    expect(everyAddress([{ ...mail, at: 101 }], 100)).toEqual([])
  })

  const caseId = 'c'
  const page = (at: number, kind: 'page' | 'repeat' = 'page', urgency: 'urgent' | 'speak' = 'urgent') =>
    ({ kind, caseId, at: at * 60_000, urgency }) satisfies CallOutHappening
  const judged = (happenings: readonly CallOutHappening[], endMinute: number) =>
    moved(happenings, endMinute * 60_000, 5_000)

  // The times are the shipped ladder's: again at 3 min, next at 5, everyone at 10, and on every 10; speaking: 10, 20, 30.
  test('a ladder on time is well, for both urgencies', () => {
    const urgent = [page(0), page(3, 'repeat'), page(5), page(10), page(10, 'repeat'), page(20, 'repeat')]
    expect(judged(urgent, 29)).toEqual({ met: 4, promises: 0, late: [] })
    const speak = [0, 10, 20, 30, 60].map(at => page(at, at === 10 ? 'repeat' : 'page', 'speak'))
    expect(judged(speak, 89)).toEqual({ met: 4, promises: 0, late: [] })
  })

  test('a page that does not move on is reported, at each rung', () => {
    expect(judged([page(0)], 4).late).toMatchObject([{ stage: 'first', dueAt: 180_000 }])
    expect(judged([page(0), page(3, 'repeat')], 6).late).toMatchObject([{ stage: 'again' }])
    expect(judged([page(0), page(3, 'repeat'), page(5)], 11).late).toMatchObject([{ stage: 'next' }])
    expect(judged([page(0), page(4, 'repeat')], 5).late).toMatchObject([{ stage: 'first' }])
  })

  test('a rise in urgency shortens what is waited for', () => {
    const rose: CallOutHappening = { kind: 'update', caseId, at: 60_000, urgency: 'urgent' }
    expect(judged([page(0, 'page', 'speak'), rose], 5).late).toMatchObject([{ dueAt: 240_000 }])
    expect(judged([page(0, 'page', 'speak')], 5).late).toEqual([])
  })

  test('whoever takes it ends the ladder; a promised call that does not come has to page again', () => {
    const taken: CallOutHappening = { kind: 'taken', caseId, at: 60_000, callBy: 120_000 }
    expect(judged([page(0), taken], 6.9).late).toEqual([])
    expect(judged([page(0), taken], 8).late).toMatchObject([{ stage: 'taken', dueAt: 420_000 }])
    expect(judged([page(0), taken, page(7, 'repeat')], 8)).toEqual({ met: 1, promises: 1, late: [] })
    const spoken: CallOutHappening = { kind: 'spoken', caseId, at: 120_000 }
    expect(judged([page(0), taken, spoken], 60).late).toEqual([])
  })

  test('a page that is passed on goes to the next person at once', () => {
    const passed: CallOutHappening = { kind: 'passed-on', caseId, at: 60_000 }
    expect(judged([page(0), passed], 2).late).toHaveLength(1)
    expect(judged([page(0), passed, page(1.01)], 5)).toEqual({ met: 1, promises: 0, late: [] })
    expect(judged([page(0), passed, page(1.01)], 7).late).toMatchObject([{ stage: 'next' }])
  })
})

describe('the process', () => {
  const samples = (mb: (minute: number) => number): Sample[] =>
    Array.from({ length: 121 }, (_, i) => ({ at: i * 30_000, residentMb: mb(i / 2), descriptors: 30 }))

  test('memory that climbs is reported; noise and a warm-up are not', () => {
    expect(growthMbAnHour(samples(minute => 100 + minute))).toBeCloseTo(60, 6)
    expect(memoryFlat(samples(minute => 100 + 2 * minute))).toHaveLength(1)
    expect(memoryFlat(samples(minute => 200 + 8 * Math.sin(minute)))).toEqual([])
    expect(memoryFlat(samples(minute => (minute < 15 ? 100 + 6 * minute : 190)))).toEqual([])
  })

  test('quantiles are of sorted values', () => {
    expect([quantile([3, 1, 2], 0.5), quantile([5, 1, 9], 1), quantile([], 0.5)]).toEqual([2, 9, Number.NaN])
  })
})

describe('what the driver reads and draws', () => {
  test('lines, speaker, words and texts are read from a page as it is drawn', () => {
    const markup = `<article class="line family" data-key="line-0">
<time datetime="2026-03-01T07:10:00.250Z">2:10 am</time>
<div class="said"><p class="who">You</p><div class="answer"><p class="words">tube &amp; bed</p><form><button>Change</button></form></div></div></article>
<article class="line bot" data-key="line-1">
<time datetime="2026-03-01T07:10:01.000Z">2:10 am</time>
<div class="said"><p class="who">Bot</p><ol class="advice"><li>Ring <a href="tel:911">911</a> now.</li></ol></div></article>`
    expect(linesIn(markup)).toEqual([
      { at: Date.parse('2026-03-01T07:10:00.250Z'), who: 'family', words: 'tube & bed', text: '' },
      { at: Date.parse('2026-03-01T07:10:01Z'), who: 'bot', text: 'Ring 911 now.' },
    ])
    expect(readPage('<p>nothing here</p>').question).toBeUndefined()
  })

  test('the same seed draws the same, another seed something else; think times keep their bounds and median', () => {
    const drawn = (seed: string) => Array.from({ length: 2_001 }, draws(seed).unit)
    expect(drawn('7')).toEqual(drawn('7'))
    expect(drawn('7')).not.toEqual(drawn('8'))
    const one = draws('think')
    const times = Array.from({ length: 4_001 }, () => one.around(9, 0.7, 2, 90))
    expect(Math.min(...times)).toBeGreaterThanOrEqual(2)
    expect(Math.max(...times)).toBeLessThanOrEqual(90)
    expect(quantile(times, 0.5)).toBeGreaterThan(8)
    expect(quantile(times, 0.5)).toBeLessThan(10)
  })
})
