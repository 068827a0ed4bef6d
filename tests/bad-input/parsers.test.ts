import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { z } from 'zod'
import { fieldsOf } from '../../src/channels/web-guard.ts'
import { telephoneAddress, wordsShown } from '../../src/channels/web-page.ts'
import { chatOf, cookieFor, cookieIn } from '../../src/channels/webchat/cookie.ts'
import { TEXT_LENGTH_MAX, tapOf } from '../../src/channels/webchat/tap.ts'
import { readFlowFiles } from '../../src/cli/flow-files.ts'
import { DEMO_CLINIC, loadLine } from '../../src/cli/load-line.ts'
import { openToken, pageToken } from '../../src/cli/page-link.ts'
import { readClinic } from '../../src/config/clinic-file.ts'
import { readFullNumber, readNumber } from '../../src/config/telephone.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { catalogueOf, textFaults, WordingBroken } from '../../src/flow/wording.ts'
import { readYaml } from '../../src/flow/yaml-places.ts'
import { actionOf } from '../../src/http/action.ts'
import { type Instant, instant } from '../../src/time/instant.ts'
import { readDate, readDuration, readMoment } from '../../src/time/phrases.ts'
import { lexiconOf } from '../../src/understand/lexicon.ts'
import { understand } from '../../src/understand/understand.ts'
import type { UnderstandContext } from '../../src/understand/understood.ts'
import '../support/seed.ts'
import { readOnce } from '../support/read-once.ts'
import { english, facts, questionOn } from '../understand/english.ts'
import { HOSTILE, hostileText, spoiled } from './hostile-text.ts'

/** More with LONG=1. */
const runs = (usual: number): { numRuns: number } => ({ numRuns: process.env.LONG === '1' ? usual * 20 : usual })
const AT: Instant = instant(Date.parse('2026-03-01T07:10:00Z'))
const english_ = { at: AT, zone: 'America/New_York', language: 'en' }
const times = { readMoment, readDate, readDuration }

/**
 * Processor time in ms that work takes in this thread, the best of up to four tries: other work on the machine does not
 * count. Stops early once it is below `enoughMs`.
 */
function processorMs(work: () => unknown, enoughMs = 0): number {
  let best = Number.POSITIVE_INFINITY
  for (let tries = 0; tries < 4 && best > enoughMs; tries += 1) {
    const before = process.threadCpuUsage()
    work()
    const { user, system } = process.threadCpuUsage(before)
    best = Math.min(best, (user + system) / 1_000)
  }
  return best
}

describe('readers of times', () => {
  test('give an interval that is not ahead of now and not upside down, a length within bounds, or a reason', () => {
    fc.assert(
      fc.property(hostileText, text => {
        for (const reading of [readMoment(text, english_), readDate(text, english_)]) {
          if (reading.kind === 'ask') continue
          expect(Number.isSafeInteger(reading.earliest) && Number.isSafeInteger(reading.latest)).toBe(true)
          expect(reading.earliest).toBeLessThanOrEqual(reading.latest)
          expect(reading.latest).toBeLessThanOrEqual(AT)
        }
        const length = readDuration(text, english_)
        if (length.kind === 'ask') return
        expect(length.atLeastMs).toBeGreaterThanOrEqual(0)
        expect(length.atLeastMs).toBeLessThanOrEqual(length.atMostMs)
        expect(Number.isFinite(length.atMostMs)).toBe(true)
      }),
      runs(600),
    )
  })

  test('a clock time written out is read as that minute', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 719 }), ago => {
        const when = new Date(AT - ago * 60_000)
        const local = when.toLocaleTimeString('en-US', {
          hour: 'numeric',
          minute: '2-digit',
          timeZone: 'America/New_York',
        })
        // Intl (ECMA-402) writes the time; the reader has to find the same minute.
        const reading = readMoment(local, english_)
        expect(reading, local).toMatchObject({
          kind: 'between',
          earliest: Math.floor(when.getTime() / 60_000) * 60_000,
        })
      }),
      runs(300),
    )
  })
})

describe('what is understood', { timeout: 60_000 }, () => {
  const contexts: readonly UnderstandContext[] = [
    undefined,
    ...Object.keys(facts).filter(fact => facts[fact]?.settable !== true),
  ].map(fact => {
    const document = fact === undefined ? undefined : facts[fact]
    const asked =
      fact === undefined || document === undefined
        ? {}
        : { question: questionOn(fact), fact: { ...document, id: fact } }
    return { lexicon: english, at: AT, zone: 'America/New_York', defaultRegion: 'US', times, ...asked }
  })
  const context = fc.constantFrom(...contexts)

  /** Whether an answer is one that its question can have. */
  function expectFits(understood: ReturnType<typeof understand>, { fact, at }: UnderstandContext): void {
    if (understood.kind !== 'answer' || fact === undefined) return
    const { answer } = understood
    switch (answer.kind) {
      case 'unsure':
        return
      case 'choice':
        expect(fact.values).toContain(answer.value)
        return
      case 'many':
        expect(answer.values.length).toBeGreaterThan(0)
        for (const value of answer.values) expect(fact.values).toContain(value)
        if (answer.values.includes('none')) expect(answer.values).toEqual(['none'])
        return
      case 'moment':
        expect(['moment', 'date']).toContain(fact.kind)
        expect(answer.earliest).toBeLessThanOrEqual(answer.latest)
        expect(answer.latest).toBeLessThanOrEqual(at)
        return
      case 'length':
        expect(fact.kind).toBe('length')
        expect(answer.atLeastMs).toBeLessThanOrEqual(answer.atMostMs)
        return
      case 'number': {
        const bounds = english.numberFacts[fact.id] ?? { min: 0, max: 1_000_000 }
        expect(answer.value).toBeGreaterThanOrEqual(bounds.min)
        expect(answer.value).toBeLessThanOrEqual(bounds.max)
        return
      }
      case 'phone':
        expect(fact.kind).toBe('phone')
        // E.164 (ITU-T): a plus sign and at most 15 digits, the first no zero.
        expect(answer.number).toMatch(/^(?:write-only|\+[1-9]\d{4,14})$/)
    }
  }

  test('any words to any question have one meaning, and an answer is one the question can have', () => {
    fc.assert(
      fc.property(hostileText, context, (text, at) => {
        const understood = understand({ kind: 'text', text }, at)
        expectFits(understood, at)
        if ('said' in understood) expect((understood.said ?? '').isWellFormed()).toBe(true)
      }),
      runs(4_000),
    )
  })

  test('any tap on any question has one meaning, and an answer is one the question can have', () => {
    const value = fc.oneof(
      fc.constantFrom(...HOSTILE, 'not-sure', 'write-only', 'none', 'yes', 'no', 'just-now', 'in-words'),
      fc.constantFrom(
        ...Object.values(facts).flatMap(({ values = [], taps = {} }) => [...values, ...Object.keys(taps)]),
      ),
    )
    const serial = fc.constantFrom(0, 6, 7, 8, -1, 2 ** 53, Number.MAX_SAFE_INTEGER)
    fc.assert(
      fc.property(fc.array(value, { maxLength: 4 }), serial, context, (values, number, at) => {
        const understood = understand({ kind: 'choice', serial: number, values }, at)
        expectFits(understood, at)
        if (understood.kind === 'answer') expect(number).toBe(7)
      }),
      runs(3_000),
    )
  })

  test('danger stays danger whatever stands around it in other sentences', () => {
    const danger = fc.constantFrom(
      'she is not breathing',
      'his lips are blue',
      "I can't wake her",
      'she is having a fit',
      'blood is pouring out',
      'he is vomiting blood',
      'her belly is rock hard',
      'a rash that does not fade when I press it',
    )
    fc.assert(
      fc.property(hostileText, danger, hostileText, context, (before, sign, after, at) => {
        const understood = understand({ kind: 'text', text: `${before}.\n${sign}.\n${after}` }, at)
        expect(understood.kind, JSON.stringify([before, sign, after])).toBe('danger')
      }),
      runs(2_000),
    )
  })

  test('100,000 characters of anything are understood in less than 200 ms', () => {
    const asked = contexts.filter(at => [undefined, 'device', 'out-since'].includes(at.fact?.id))
    for (const piece of [
      ...HOSTILE.filter(text => text.length > 0),
      'no blood, ',
      'not ',
      'came out 20 minutes ago, ',
    ]) {
      const text = piece.repeat(Math.ceil(100_000 / piece.length)).slice(0, 100_000)
      for (const at of asked) {
        const took = processorMs(() => understand({ kind: 'text', text }, at), 200)
        expect([piece, at.fact?.id, took < 200], `${took} ms`).toEqual([piece, at.fact?.id, true])
      }
    }
  })

  test('eight times the text takes about eight times the time, not sixty-four', () => {
    for (const piece of ['no or ', 'lips not ', 'not sure she is so very ', '1 30 am ', "can't "]) {
      const of = (length: number) => piece.repeat(Math.ceil(length / piece.length))
      const at = contexts.find(one => one.fact?.id === 'device')
      if (at === undefined) throw new Error('no question "device"')
      const took = (length: number) => processorMs(() => understand({ kind: 'text', text: of(length) }, at))
      // The processor's clock ticks in some ms: what is shorter counts as 4.
      expect(took(112_000), piece).toBeLessThan(Math.max(4, took(14_000)) * 24)
    }
  })
})

describe('telephone numbers of the clinic', () => {
  test('are E.164 or a short number, or a fault with what was expected', () => {
    fc.assert(
      fc.property(hostileText, text => {
        for (const read of [readFullNumber(text), readNumber(text)]) {
          if (read.number === undefined) expect(read.faults.length).toBeGreaterThan(0)
          else expect(read.number).toMatch(/^(?:\+[1-9]\d{4,14}|\d{2,6})$/)
          for (const fault of read.faults) expect(fault.expected).not.toBe('')
        }
        // RFC 3966: nothing but digits, a leading plus, star and hash gets into an address that is rung.
        expect(telephoneAddress(text)).toMatch(/^tel:\+?[\d*#]*$/)
      }),
      runs(1_000),
    )
  })

  test('in groups and as E.164 are the same number', () => {
    fc.assert(
      fc.property(fc.integer({ min: 0, max: 99 }), fc.constantFrom(' ', '-', '.'), (end, between) => {
        const line = `01${String(end).padStart(2, '0')}`
        expect(readFullNumber(`+1${between}212${between}555${between}${line}`).number).toBe(`+1212555${line}`)
      }),
      runs(200),
    )
  })
})

describe('what a browser sends', () => {
  const name = fc.constantFrom(
    'text',
    'serial',
    'value',
    'values',
    'concern',
    'control',
    'subject',
    'nonce',
    'agoMs',
    '__proto__',
    'do',
  )
  const known = fc.constantFrom(
    'person',
    'change',
    'new-child',
    'start',
    'tube-out',
    '1',
    '7',
    'nonce-aaaaaaaa',
    '90000',
  )
  const fields = fc.array(fc.tuple(name, fc.array(fc.oneof(hostileText, known), { maxLength: 3 })), { maxLength: 6 })

  test('is a message within bounds, or none', () => {
    fc.assert(
      fc.property(fields, given => {
        const tap = tapOf(new Map(given), 'chat-1', AT, () => 'id-0123456789')
        if (tap.kind !== 'tap') return
        const { incoming } = tap
        expect(incoming.deliveryId).toMatch(/^chat-1\.[\w-]+\.[\w-]{8,80}\.[\w-]{12}$/)
        expect(incoming.madeAt ?? AT).toBeLessThanOrEqual(AT)
        expect(incoming.madeAt ?? AT).toBeGreaterThanOrEqual(AT - 86_400_000)
        const { body } = incoming
        if (body.kind === 'text') expect(body.text.length).toBeLessThanOrEqual(TEXT_LENGTH_MAX + 1)
        if (body.kind === 'choice') {
          expect(Number.isSafeInteger(body.serial) && body.serial >= 0).toBe(true)
          expect(body.values.length).toBeGreaterThan(0)
          expect(new Set(body.values).size).toBe(body.values.length)
        }
        if (body.kind === 'control') expect(body.subject ?? '').not.toMatch(/[\p{Cc}\p{Bidi_Control}]/u)
      }),
      runs(2_000),
    )
  })

  test('the same fields are the same delivery, and other words another', () => {
    fc.assert(
      fc.property(hostileText, hostileText, (one, other) => {
        const idOf = (text: string): string | undefined => {
          const tap = tapOf(
            new Map([
              ['text', [text]],
              ['nonce', ['nonce-aaaaaaaa']],
            ]),
            'c',
            AT,
            () => 'x',
          )
          return tap.kind === 'tap' ? tap.incoming.deliveryId : undefined
        }
        expect(idOf(one)).toBe(idOf(one))
        if (one !== other && idOf(one) !== undefined) expect(idOf(one)).not.toBe(idOf(other))
      }),
      runs(500),
    )
  })

  test('a body is fields or nothing, whatever it is called', () => {
    const kind = fc.constantFrom(
      'application/json',
      'application/x-www-form-urlencoded',
      'text/plain',
      '',
      ';',
      'application/json; charset=utf-16',
    )
    fc.assert(
      fc.property(fc.oneof(hostileText, fc.json()), fc.oneof(kind, hostileText), (body, type) => {
        const read = fieldsOf(body, type)
        for (const values of read?.values() ?? []) for (const value of values) expect(typeof value).toBe('string')
      }),
      runs(1_000),
    )
  })

  test('words sent as a form or as JSON come out as they were', () => {
    fc.assert(
      fc.property(hostileText, text => {
        const whole = text.toWellFormed()
        const form = new URLSearchParams({ text: whole }).toString()
        expect(fieldsOf(form, 'application/x-www-form-urlencoded')?.get('text')).toEqual([whole])
        expect(fieldsOf(JSON.stringify({ text: whole }), 'application/json')?.get('text')).toEqual([whole])
      }),
      runs(1_000),
    )
  })

  test('a cookie is a key of ours or none, and ours comes back', () => {
    fc.assert(
      fc.property(hostileText, header => {
        const key = cookieIn(header)
        if (key !== undefined) expect(key).toMatch(/^[\w-]{16,64}$/)
      }),
      runs(1_000),
    )
    fc.assert(
      fc.property(fc.stringMatching(/^[\w-]{16,64}$/), fc.boolean(), hostileText, (key, isSecure, other) => {
        const sent = cookieFor(key, isSecure).split(';')[0] ?? ''
        expect(cookieIn(`${other.replace(/chat|;/g, '')}; ${sent}`)).toBe(key)
        expect(chatOf(key)).toMatch(/^[\w-]{22}$/)
      }),
      runs(500),
    )
  })

  test('words on a page are short, whole, and steer nothing', () => {
    fc.assert(
      fc.property(hostileText, fc.integer({ min: 1, max: 400 }), (text, times) => {
        const shown = wordsShown(text.repeat(times))
        expect(shown.length).toBeLessThanOrEqual(3_000)
        expect(shown.isWellFormed()).toBe(true)
        expect(shown).not.toMatch(/(?![\n\t])\p{Cc}/u)
      }),
      runs(500),
    )
  })
})

describe("a clinician's link and press", () => {
  const key = Buffer.alloc(32, 7)
  const { clinic } = loaded().line
  const page = { caseId: '0123456789abcdef0123456789abcdef', to: 'amara', at: AT }

  test('a link is whole or nothing: any other text, and every single changed letter, is unknown', () => {
    const token = pageToken(key, page)
    expect(openToken(key, token, clinic, AT)).toMatchObject({ caseId: page.caseId, clinician: { id: 'amara' } })
    expect(openToken(key, token, clinic, instant(AT + 86_400_000 + 1_001))).toBe('expired')
    expect(openToken(Buffer.alloc(32, 8), token, clinic, AT)).toBe('unknown')
    fc.assert(
      fc.property(hostileText, text => {
        expect(openToken(key, text, clinic, AT)).toBe('unknown')
      }),
      runs(500),
    )
    const letter = fc.constantFrom(...'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_=+/ ')
    fc.assert(
      fc.property(fc.integer({ min: 0, max: token.length - 1 }), letter, (at, other) => {
        fc.pre(token[at] !== other)
        expect(openToken(key, token.slice(0, at) + other + token.slice(at + 1), clinic, AT)).toBe('unknown')
      }),
      runs(1_000),
    )
  })

  test('a press is an action within bounds, or the wording of why it is none', () => {
    const name = fc.constantFrom('do', 'by', 'text', 'id', 'to', 'reason', 'name', 'outcome', 'note', 'do-not-write')
    const known = fc.constantFrom(
      'ringing-now',
      'ringing-by',
      'go-in',
      'write',
      'lower',
      'outcome',
      'stop-alarm',
      'at-home',
      String(AT + 600_000),
    )
    const given = fc.array(fc.tuple(name, fc.array(fc.oneof(hostileText, known), { maxLength: 2 })), { maxLength: 6 })
    fc.assert(
      fc.property(given, fields => {
        const action = actionOf(new Map(fields), AT)
        if (typeof action === 'string') {
          expect(action).toMatch(/^clinic-/)
          return
        }
        if (action.kind === 'take' && action.doing.kind === 'ringing-by') {
          expect(action.doing.by - AT).toBeGreaterThanOrEqual(60_000)
          expect(action.doing.by - AT).toBeLessThanOrEqual(6 * 3_600_000)
        }
        if (action.kind === 'write') expect(action.text.length).toBeLessThanOrEqual(4_000)
        if (action.kind === 'lower') expect(action.reason).not.toBe('')
      }),
      runs(2_000),
    )
  })
})

describe("a clinic's files", () => {
  const clinicText = readFileSync(join(DEMO_CLINIC, 'clinic.yaml'), 'utf8')
  const files = readFlowFiles()
  const lexiconText = files.get('shared/lexicon.en.yaml') ?? ''

  test('clinic.yaml spoiled anyhow is a clinic or a list of problems, each with its place and what was expected', () => {
    fc.assert(
      fc.property(
        fc.oneof({ weight: 9, arbitrary: spoiled(clinicText) }, { weight: 1, arbitrary: hostileText }),
        text => {
          const { clinic, problems } = readClinic('clinic.yaml', text, AT)
          if (clinic === undefined) expect(problems.some(({ severity }) => severity === 'problem')).toBe(true)
          for (const problem of problems) expect(`${problem.file}${problem.expected}`).toMatch(/clinic\.yaml./)
        },
      ),
      runs(60),
    )
  })

  test.each([
    'tube-out/flow.yaml',
    'shared/steps.yaml',
    'shared/facts.yaml',
    'tube-out/wording.en.yaml',
    'tube-out/sources.yaml',
    'shared/tags.yaml',
    'shared/lint.yaml',
    'shared/lint.en.yaml',
    'shared/lint-exceptions.yaml',
  ])(
    'flows/%s spoiled anyhow is a set of flows or a list of problems',
    path => {
      fc.assert(
        fc.property(spoiled(files.get(path) ?? ''), text => {
          const { set, problems } = loadFlows(new Map([...files, [path, text]]), readOnce)
          if (set === undefined) expect(problems.some(({ severity }) => severity === 'problem')).toBe(true)
        }),
        runs(10),
      )
    },
    60_000,
  )

  test('any text as YAML is read, or refused with line and column', () => {
    const bomb = `a: &a [x,x]\n${Array.from({ length: 30 }, (_, i) => `b${i}: &b${i} [*a,*a,*a]`).join('\n')}`
    fc.assert(
      fc.property(fc.oneof(hostileText, fc.constant(bomb)), text => {
        const { yaml, problems } = readYaml('any.yaml', text)
        if (yaml === undefined) expect(problems.length).toBeGreaterThan(0)
      }),
      runs(1_000),
    )
  })

  test('a lexicon spoiled anyhow is compiled, or refused by its shape or by the pattern at fault', () => {
    fc.assert(
      fc.property(spoiled(lexiconText), text => {
        let file: unknown
        try {
          file = parse(text, { version: '1.2' })
        } catch {
          return
        }
        try {
          lexiconOf(file)
        } catch (error) {
          expect(error instanceof z.ZodError || error instanceof SyntaxError, String(error)).toBe(true)
        }
      }),
      runs(25),
    )
  }, 60_000)

  test('any text as wording is filled, or fails as wording that is broken; what the check passes can be filled', () => {
    const piece = fc.constantFrom(
      '{now}',
      '{clinician}',
      '{nobody}',
      '{hasPhone, select, yes {a} other {b}}',
      '{hasPhone, select, yes {a}}',
      '{pagesSent, plural, one {once} other {# times}}',
      '{pagesSent, plural, one {once}',
      '{now, date, ::yyyy}',
      '<b>x</b>',
      "'{'",
      '{',
      '}',
      '{}',
      '{0}',
      '#',
      "''",
      ...HOSTILE,
    )
    fc.assert(
      fc.property(fc.array(piece, { maxLength: 6 }), parts => {
        const text = parts.join(' ')
        const catalogue = catalogueOf('en', { any: text })
        const values = { now: '2:10 am', clinician: 'A', hasPhone: 'yes', pagesSent: 2 }
        try {
          expect(typeof catalogue.text('any', values)).toBe('string')
        } catch (error) {
          expect(error, text).toBeInstanceOf(WordingBroken)
        }
        expect(Array.isArray(textFaults(text, 'en'))).toBe(true)
      }),
      runs(1_500),
    )
  })
})

function loaded() {
  const { loaded: line, problems } = loadLine({ clinicDir: DEMO_CLINIC, at: AT })
  if (line === undefined) throw new Error(JSON.stringify(problems))
  return line
}
