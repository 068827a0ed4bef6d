import { describe, expect, it } from 'vitest'
import { instant, minutes } from '../../src/time/instant.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { understand } from '../../src/understand/understand.ts'
import { AT, contextOn, minutesOnly, questionOn, tap, typed } from './english.ts'

const phrases = { readMoment, readDate, readDuration }

const choice = (value: string) => ({ kind: 'answer', answer: { kind: 'choice', value } })
const many = (...values: string[]) => ({ kind: 'answer', answer: { kind: 'many', values } })
const unsure = { kind: 'answer', answer: { kind: 'unsure' } }
const misread = (reason: string) => ({ kind: 'misread', reason })

describe('words that answer a choice', () => {
  it.each([
    // fact, words, meaning
    ['changed-before', 'yes', choice('yes')],
    ['changed-before', 'Yeah it has', choice('yes')],
    ['changed-before', 'no', choice('no')],
    ['changed-before', 'nope', choice('no')],
    ['changed-before', "no it hasn't", choice('no')],
    ['changed-before', "it's the first tube", choice('no')],
    ['changed-before', 'yes and no', misread('two-answers')],
    ['changed-before', 'maybe', unsure],
    ['changed-before', "I don't know", unsure],
    ['changed-before', 'yes but not sure', unsure],
    ['changed-before', 'green elephants walk by', misread('not-an-option')],
    ['in-opening', 'nothing', choice('nothing')],
    ['in-opening', '1', choice('nothing')],
    ['in-opening', '2', choice('same-tube')],
    ['in-opening', 'option 2', choice('same-tube')],
    ['in-opening', '2 and 3', misread('two-answers')],
    ['in-opening', '6', misread('not-an-option')],
    ['in-opening', '5', unsure],
    ['in-opening', 'we put the same tube back in', choice('same-tube')],
    ['in-opening', 'a catheter', choice('smaller-or-catheter')],
    ['device', 'a button with a balloon', choice('balloon-button')],
    ['device', 'GJ', choice('into-bowel')],
    ['device', 'NG tube in her nose', choice('nasal')],
    ['device', 'idk', unsure],
    ['device', 'dunno', unsure],
    ['device', 'no idea', unsure],
    ['spare', 'same size', choice('same-size')],
    ['spare', 'one size smaller', choice('smaller')],
    ['spare', "we don't have a spare", choice('none')],
    ['came-out-with', 'deflated', choice('balloon-empty')],
    ['came-out-with', 'not deflated', misread('not-an-option')],
    ['came-out-with', 'still full of water', choice('balloon-full')],
    ['pain-or-bleeding', 'a bit of bleeding', choice('yes')],
    ['pain-or-bleeding', 'no pain or bleeding', choice('no')],
    ['pain-or-bleeding', 'no pain but it is bleeding', choice('yes')],
    ['replaced', 'it would not go in', choice('would-not-go')],
    ['replaced', 'went in easily', choice('went-in-easily')],
    ['replaced', 'we had to force it', choice('pain-blood-or-force')],
    ['replaced', "we haven't tried", choice('not-tried')],
    ['taught', 'I can replace it and check ph', many('replace', 'ph-check')],
    ['taught', 'I have only watched', many('none')],
    ['taught', 'my husband was taught to change it', misread('not-an-option')],
    ['taught', 'none', many('none')],
    ['taught', '1 and 3', many('replace', 'ph-check')],
    ['fasting-risk', 'diabetes and epilepsy', many('insulin')],
    ['danger-signs', 'none of these', many('none')],
    ['danger-signs', 'no', many('none')],
    ['danger-signs', '9', many('none')],
    ['danger-signs', '1', { kind: 'danger', signs: ['breathing'] }],
    ['danger-signs', '1 and 9', misread('two-answers')],
    // One is there, not said which: never "none".
    ['danger-signs', 'yes', unsure],
    ['danger-signs', 'not sure', unsure],
    ['danger-signs', "he's fine", misread('not-an-option')],
    ['have-you-left', 'not yet', choice('no')],
    ['have-you-left', "we're about to leave", choice('no')],
    ['have-you-left', 'yes', choice('yes')],
  ])('%s: "%s"', (fact, words, meaning) => expect(typed(words, fact)).toMatchObject(meaning))

  it('matches the words on the buttons, whole or the part only one has', () => {
    const question = questionOn('spare', {
      'same-size': 'Yes, the same size',
      smaller: 'A thinner one',
      none: 'No spare here',
    })
    expect(typed('yes the same size', 'spare', { question })).toMatchObject(choice('same-size'))
    expect(typed('A thinner one!', 'spare', { question })).toMatchObject(choice('smaller'))
  })
})

describe('times, numbers and telephone numbers', () => {
  it('hands time words to the reader of times and marks a read-back where the fact wants one', () => {
    const between = { earliest: instant(AT - minutes(25)), latest: instant(AT - minutes(20)) }
    expect(typed('20 minutes ago', 'out-since')).toEqual({
      kind: 'answer',
      answer: { kind: 'moment', ...between },
      said: '20 minutes ago',
      readBack: between,
    })
    expect(typed('40 min', 'travel')).toMatchObject({
      kind: 'answer',
      answer: { kind: 'length', atMostMs: minutes(40) },
    })
  })

  it.each([
    ['out-since', 'at some point', misread('time-unclear')],
    ['first-placed', 'next May', misread('time-future')],
    ['travel', 'far', misread('length-unclear')],
    ['out-since', 'not sure', unsure],
    ['ph', '5', { answer: { kind: 'number', value: 5 } }],
    ['ph', '5.0', { answer: { kind: 'number', value: 5 } }],
    ['ph', '5,1', { answer: { kind: 'number', value: 5.1 } }],
    ['ph', 'pH 5·5', { answer: { kind: 'number', value: 5.5 } }],
    ['ph', '٥', { answer: { kind: 'number', value: 5 } }],
    ['ph', 'five', { answer: { kind: 'number', value: 5 } }],
    ['ph', 'about 4.5', { answer: { kind: 'number', value: 4.5 } }],
    ['ph', '0', { answer: { kind: 'number', value: 0 } }],
    ['ph', '14', { answer: { kind: 'number', value: 14 } }],
    ['ph', '14.1', misread('number-impossible')],
    ['ph', '15', misread('number-impossible')],
    ['ph', '-1', misread('number-impossible')],
    ['ph', '5 or 6', misread('number-unclear')],
    ['ph', '5-6', misread('number-unclear')],
    ['ph', 'orange', misread('number-unclear')],
    ['ph', 'nothing came out', choice('none-came')],
    ['ph', 'not sure', unsure],
    ['ring-back', '202-555-0143', { answer: { kind: 'phone', number: '+12025550143' } }],
    ['ring-back', 'call me on (202) 555 0143 please', { answer: { kind: 'phone', number: '+12025550143' } }],
    ['ring-back', '+1 202 555 0143', { answer: { kind: 'phone', number: '+12025550143' } }],
    ['ring-back', '+44 1632 960123', { answer: { kind: 'phone', number: '+441632960123' } }],
    ['ring-back', '911', misread('phone-unclear')],
    ['ring-back', '555', misread('phone-unclear')],
    ['ring-back', 'this one', misread('phone-unclear')],
    ['ring-back', '202-555-0143 or 202-555-0187', misread('phone-two')],
    ['ring-back', 'write only', { answer: { kind: 'phone', number: 'write-only' } }],
    ['ring-back', "please don't ring, she's asleep", { answer: { kind: 'phone', number: 'write-only' } }],
  ])('%s: "%s"', (fact, words, meaning) => expect(typed(words, fact)).toMatchObject(meaning))

  // E.164 (ITU-T): a plus sign, a country code and at most 15 digits in all.
  it('gives telephone numbers in the form of E.164', () => {
    for (const words of ['2025550143', '1 202 555 0143', '+44 1632 960123']) {
      const read = typed(words, 'ring-back')
      expect(read.kind === 'answer' && read.answer.kind === 'phone' ? read.answer.number : '').toMatch(
        /^\+[1-9]\d{1,14}$/,
      )
    }
  })
})

describe('taps', () => {
  it('counts a tapped span back from when the message was made', () => {
    expect(tap(['half-to-one-hour'], 'out-since')).toMatchObject({
      answer: { kind: 'moment', earliest: instant(AT - minutes(60)), latest: instant(AT - minutes(30)) },
    })
    expect(tap(['up-to-30-minutes'], 'travel')).toMatchObject({
      answer: { kind: 'length', atLeastMs: minutes(15), atMostMs: minutes(30) },
    })
  })

  it('counts whole weeks of a date over a clock change by the calendar', () => {
    // New York, 14 March 2026, 02:10 local. Clocks went on on 8 March: a week before is 167 hours before, not 168.
    const at = instant(Date.parse('2026-03-14T06:10:00Z'))
    expect(tap(['one-to-six-weeks'], 'first-placed', 7, { at })).toMatchObject({
      answer: { latest: Date.parse('2026-03-07T07:10:00Z'), earliest: Date.parse('2026-01-31T07:10:00Z') },
    })
  })

  it.each([
    [['yes'], 'changed-before', choice('yes')],
    [['replace', 'ph-check'], 'taught', many('replace', 'ph-check')],
    [['replace', 'none'], 'taught', misread('two-answers')],
    [['yes', 'no'], 'changed-before', misread('two-answers')],
    [['not-sure'], 'device', unsure],
    [['no-such'], 'device', misread('not-an-option')],
    [['found-out'], 'out-since', misread('time-unclear')],
    [['none'], 'danger-signs', many('none')],
    [['drowsy'], 'danger-signs', { kind: 'danger', signs: ['drowsy'] }],
    [['none', 'drowsy'], 'danger-signs', { kind: 'danger', signs: ['drowsy'] }],
    [['write-only'], 'ring-back', { answer: { kind: 'phone', number: 'write-only' } }],
    [['none-came'], 'ph', choice('none-came')],
    [[], 'device', misread('not-an-option')],
  ])('%j on %s', (values, fact, meaning) => expect(tap(values, fact)).toMatchObject(meaning))

  it('a tap on another question than the open one is no answer, unless it is a danger sign', () => {
    expect(tap(['yes'], 'changed-before', 6)).toMatchObject(misread('not-now'))
    expect(tap(['yes'])).toMatchObject(misread('not-now'))
    expect(tap(['colour'], 'changed-before', 6)).toMatchObject({ kind: 'danger', signs: ['colour'] })
  })
})

describe('a time read back', () => {
  const on = { readBack: true }
  it.each([
    ['yes', { kind: 'read-back', right: true }],
    ["that's right", { kind: 'read-back', right: true }],
    ['no', { kind: 'read-back', right: false }],
    ['not sure', unsure],
    ['no, 40 minutes ago', { kind: 'answer', answer: { kind: 'moment' }, readBack: { latest: AT - minutes(40) } }],
    ['hm', misread('not-an-option')],
  ])('"%s"', (words, meaning) => expect(typed(words, 'out-since', on)).toMatchObject(meaning))

  it('is tapped right or wrong', () => {
    expect(tap(['yes'], 'out-since', 7, on)).toMatchObject({ kind: 'read-back', right: true })
    expect(tap(['no'], 'out-since', 7, on)).toMatchObject({ kind: 'read-back', right: false })
    expect(tap(['change'], 'out-since', 7, on)).toMatchObject(misread('not-an-option'))
  })
})

describe('in the middle of a case', () => {
  it.each([
    ["we've left", 'left'],
    ["We're in the car", 'left'],
    ['on our way', 'left'],
    ["we haven't left", 'answer'],
    ['we are here', 'arrived'],
    ["We've arrived", 'arrived'],
    ['at the hospital now', 'arrived'],
    ['they told us to wait', 'person'],
    ['they told us to wait two hours', 'person'],
    ['the ambulance is delayed', 'person'],
    ['they sent us home', 'person'],
    ['it came out again', 'person'],
    ['nobody here can do it', 'person'],
    ["we're back home", 'person'],
    ['can I talk to a nurse', 'person'],
    ['I want to speak to a real person', 'person'],
    ["we can't get there", 'cannot-travel'],
    ['I have no car', 'cannot-travel'],
    ['the doctor rang me', 'they-rang'],
    ['sorry I tapped the wrong one', 'wrong-tap'],
    ["I can't do this anymore", 'despair'],
    ['I want to die', 'despair'],
    ["I'm scared I will hurt him", 'despair'],
  ])('"%s" is %s', (words, kind) => expect(typed(words, 'have-you-left')).toMatchObject({ kind }))

  it('nobody is taken to have left by the side a tube lies on', () => {
    expect(typed('it is on the left side', 'device')).toMatchObject(misread('not-an-option'))
  })

  it('hears that the one who writes is not with the child', () => {
    expect(typed("I'm not with him, he is at school", 'danger-signs')).toMatchObject({
      kind: 'concern',
      concerns: [],
      facts: { 'with-child': { kind: 'choice', value: 'no' } },
    })
  })
})

describe('a first message', () => {
  it('gives the concern and what it already answers', () => {
    expect(typed('her tube came out 20 minutes ago')).toMatchObject({
      kind: 'concern',
      concerns: ['tube-out'],
      facts: { 'out-since': { kind: 'moment', latest: AT - minutes(20) } },
      readBacks: { 'out-since': { latest: AT - minutes(20) } },
    })
    expect(typed('tube fell out but I put it back in')).toMatchObject({
      concerns: ['tube-out'],
      facts: { 'in-opening': { value: 'same-tube' } },
    })
    expect(typed('his tube came out and we put the spare tube in')).toMatchObject({
      facts: { 'in-opening': { value: 'new-tube' } },
    })
    expect(typed('tube is out, we put a catheter in')).toMatchObject({
      facts: { 'in-opening': { value: 'smaller-or-catheter' } },
    })
    expect(typed('her GJ tube came out')).toMatchObject({
      concerns: ['tube-out'],
      facts: { device: { value: 'into-bowel' } },
    })
  })

  // Read by the real reader of time words; at 02:10 in New York.
  const local = (text: string): number => Date.parse(`2026-03-01T${text}:00-05:00`)
  it.each([
    ['her tube came out at 1:30 am', '01:30', '01:30'],
    ['The tube came out at around 1:45am, put it back in', '01:30', '02:00'],
    ['about 20 minutes ago, her tube came out', '01:45', '01:55'],
    ['tube fell out about an hour ago', '00:55', '01:25'],
  ])('"%s": out between %s... and %s', (words, earliest, latest) => {
    expect(typed(words, undefined, { times: phrases })).toMatchObject({
      facts: { 'out-since': { earliest: local(earliest), latest: local(latest) } },
    })
  })

  it.each([
    'tube came out more than 20 minutes ago',
    'tube fell out over 2 hours ago',
    'tube fell out, fed him 20 min ago',
    'came out at 1 am or 2 am',
    'tube came out when he was having his 2 hour feed',
    'tube came out in the night, found it at 2am',
    'she is 3 and her 14 fr tube came out',
  ])('"%s" leaves the time to be asked', words => {
    const read = typed(words, undefined, { times: phrases })
    expect(read.kind === 'concern' ? [read.concerns, read.facts['out-since']] : read).toEqual([['tube-out'], undefined])
  })

  it('does not take an age, a size or a plan for a time or a deed', () => {
    expect(typed('she is 3 and her 14 fr tube came out')).toMatchObject({ concerns: ['tube-out'], facts: {} })
    expect(typed('tube came out, should I put it back in?')).toMatchObject({ concerns: ['tube-out'], facts: {} })
    expect(typed("tube came out, I can't get it back in")).not.toMatchObject({
      facts: { 'in-opening': expect.anything() },
    })
  })

  it('reads nothing that could open a locked step out of free words', () => {
    const open = new Set([
      'taught',
      'spare',
      'came-out-with',
      'changed-before',
      'first-placed',
      'difficult-before',
      'acid-medicine',
      'ph',
      'skin-signs',
    ])
    const text =
      'tube came out with the balloon empty, no pain, I was taught to replace it, we have a spare of the same size, changed many times'
    const read = typed(text)
    expect(read.kind === 'concern' ? Object.keys(read.facts).filter(fact => open.has(fact)) : read).toEqual([])
  })

  it('gives no concern where the words name none', () => {
    expect(typed('hello')).toMatchObject({ kind: 'concern', concerns: [] })
  })
})

describe('bad input', () => {
  it.each([
    ['', 'empty'],
    ['   \n\t', 'empty'],
    ['\u200b\u200d\ufeff\u00ad', 'empty'],
    ['\u0301\u0302', 'empty'],
    ['👍', 'no-words'],
    ['🩹🩹🩹', 'no-words'],
    ['?!…', 'no-words'],
    ['z'.repeat(4_001), 'too-long'],
    ['z'.repeat(4_000), 'not-an-option'],
    ['\ud800 \udc00 \ud83d', 'no-words'],
    ['<script>alert(1)</script>', 'not-an-option'],
    ['__proto__', 'not-an-option'],
    ['constructor', 'not-an-option'],
    ['Robert"); DROP TABLE cases;--', 'not-an-option'],
    ['‮txet desrever', 'not-an-option'],
    ['これは何ですか', 'not-an-option'],
    ['%s %d {0}', 'not-an-option'],
    ['\u0000\u0001\u0002a', 'not-an-option'],
    ['999999999999999999999999', 'not-an-option'],
  ])('row %#', (text, reason) => expect(typed(text, 'device')).toMatchObject(misread(reason)))

  it('a photo or a voice message decides nothing', () => {
    expect(understand({ kind: 'media', media: 'voice' }, contextOn('danger-signs'))).toMatchObject(misread('media'))
  })

  it('every control has its meaning', () => {
    const of = (
      control:
        | 'person'
        | 'wrong-tap'
        | 'they-rang'
        | 'cannot-travel'
        | 'change'
        | 'new-child'
        | 'show-handover'
        | 'start',
      subject?: string,
    ) => understand({ kind: 'control', control, ...(subject === undefined ? {} : { subject }) }, contextOn())
    expect(of('person')).toMatchObject({ kind: 'person' })
    expect(of('wrong-tap')).toEqual({ kind: 'wrong-tap' })
    expect(of('they-rang')).toEqual({ kind: 'they-rang' })
    expect(of('cannot-travel')).toMatchObject({ kind: 'cannot-travel' })
    expect(of('change', 'device')).toEqual({ kind: 'change', fact: 'device' })
    expect(of('change')).toMatchObject(misread('not-now'))
    expect(of('new-child')).toEqual({ kind: 'control', control: 'new-child' })
  })

  it('keeps the words as they were said', () => {
    expect(typed('  Yes <b>it</b> HAS ', 'changed-before')).toMatchObject({ said: '  Yes <b>it</b> HAS ' })
  })

  it('a reader of times that answers in the wrong kind is asked again, not believed', () => {
    const times = { ...minutesOnly, readMoment: () => ({ kind: 'length', atLeastMs: 1, atMostMs: 2 }) as const }
    expect(typed('noon', 'out-since', { times })).toMatchObject(misread('time-unclear'))
  })
})

describe('answers that belong elsewhere', () => {
  const labels = {
    otherLabels: ['Yes, the whole tube', 'No spare', 'No, we cannot get there', 'Yes', 'No', 'None of these'],
  }

  it.each([
    ['have-you-arrived', 'Yes, the whole tube'],
    ['have-you-arrived', 'yes whole tube'],
    ['have-you-arrived', 'the tube is all here, yes'],
    ['difficult-before', 'no spare'],
    ['changed-before', 'yes, the whole tube is on the table'],
  ])('%s: "%s" is asked back', (fact, words) =>
    expect(typed(words, fact, labels)).toMatchObject(misread('not-an-option')),
  )

  it.each([
    ['have-you-arrived', 'yes', 'yes'],
    ['have-you-arrived', 'yes we are there', 'yes'],
    ['changed-before', 'no', 'no'],
    ['changed-before', 'yes, twice', 'yes'],
    ['difficult-before', 'no never', 'no'],
  ])('%s: "%s" is %s', (fact, words, value) => {
    expect(['answer', 'arrived']).toContain(typed(words, fact, labels).kind)
    const read = typed(words, fact, labels)
    if (read.kind === 'answer') expect(read.answer).toEqual({ kind: 'choice', value })
  })

  it('a tap on "write to me only" is a number to ring for the question on it, and nothing for any other', () => {
    const phone = { ...questionOn('ring-back'), options: [{ value: 'write-only', label: 'Write to me only' }] }
    expect(tap(['write-only'], 'ring-back', 7, { question: phone })).toMatchObject({
      answer: { kind: 'phone', number: 'write-only' },
    })
    for (const fact of ['in-opening', 'out-since', 'taught', 'ph'])
      expect(tap(['write-only'], fact).kind, fact).toBe('misread')
  })

  it.each([
    ['device', 'the tube is back in now', 'in-opening'],
    ['travel', 'I put it back in', 'in-opening'],
    ['travel', 'she is in pain now', 'pain-or-bleeding'],
  ])('%s: "%s" opens the question on %s again', (asked, words, fact) => {
    const answers = {
      'in-opening': { kind: 'choice', value: 'nothing' },
      'pain-or-bleeding': { kind: 'choice', value: 'no' },
    } as const
    expect(typed(words, asked, { answers })).toEqual({ kind: 'change', fact, said: words })
    expect(typed(words, asked).kind).not.toBe('change')
  })

  it.each([
    ['change answer', 'first-placed', 'device'],
    ['I got that wrong', 'first-placed', 'device'],
    ['sorry, made a mistake', 'first-placed', 'device'],
    ['change my answer', 'device', 'in-opening'],
    ['change my answer', 'in-opening', 'device'],
  ])('"%s", with %s asked, opens %s again: the answer given last, then the one before it', (words, asked, fact) => {
    const answers = { 'in-opening': { kind: 'choice', value: 'nothing' }, device: { kind: 'unsure' } } as const
    expect(typed(words, asked, { answers })).toEqual({ kind: 'change', fact })
  })

  it('is no wish to change an answer where it tells of a trouble, or nothing was answered', () => {
    const answers = { device: { kind: 'unsure' } } as const
    expect(typed('I made a mistake with her medicine dose', 'first-placed', { answers })).not.toMatchObject({
      kind: 'change',
    })
    expect(typed('change answer', 'device', { answers: {} })).toMatchObject(misread('not-an-option'))
  })

  it.each(["I can't get it back in", 'should I put it back in', 'it will not go back in'])(
    '"%s" takes nothing back',
    words => {
      const answers = { 'in-opening': { kind: 'choice', value: 'nothing' } } as const
      expect(typed(words, 'device', { answers }).kind).not.toBe('change')
    },
  )
})

describe('pictures and units', () => {
  it.each([
    ['🩸🩸', 'danger'],
    ['🩸 🩸', 'danger'],
    ['🆘', 'person'],
    ['🚑🚑🚑', 'person'],
  ])('%s is %s', (text, kind) => expect(typed(text, 'device').kind).toBe(kind))

  it('one drop is blood, which is no danger sign by itself', () => {
    expect(typed('🩸', 'pain-or-bleeding')).toMatchObject({ kind: 'answer', answer: { kind: 'choice', value: 'yes' } })
  })

  it.each([
    ['ph', '5 ml'],
    ['ph', '5cc'],
    ['ph', '14 Fr'],
    ['ph', 'drew 5 mls'],
    ['balloon-put-in', '12 Fr'],
  ])('%s: "%s" is of another unit, and is said back', (fact, words) =>
    expect(typed(words, fact)).toMatchObject(misread('number-unit')),
  )

  it('a temperature in another unit is asked for again', () =>
    expect(typed('39 kg', 'temperature')).toMatchObject(misread('number-unclear')))

  it.each([
    ['ph', '4.5', 4.5],
    ['ph', 'it shows 4,5', 4.5],
    ['balloon-put-in', '5 ml', 5],
    ['temperature', '38.5°C', 38.5],
    ['temperature', '38.5 c', 38.5],
  ])('%s: "%s" is %s', (fact, words, value) =>
    expect(typed(words, fact)).toMatchObject({ kind: 'answer', answer: { kind: 'number', value } }),
  )
})
