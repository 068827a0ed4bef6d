import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import type { LintWords } from '../../src/flow/lint-document.ts'
import { silencedText } from '../../src/flow/lint-exceptions.ts'
import { forbiddingOf, instructions } from '../../src/flow/lint-lines.ts'
import { actFinder } from '../../src/flow/lint-phrases.ts'
import { loadFlows } from '../../src/flow/load.ts'
import { problemText } from '../../src/flow/problem.ts'
import { shippedFiles, shippedFlows } from '../support/a-line.ts'
import { SMALL } from './small-flow.ts'

const shared = (name: string) => readFileSync(new URL(`../../flows/shared/${name}`, import.meta.url), 'utf8')
const listOf = (language: string) => parse(shared(`lint.${language}.yaml`), { version: '1.2' }) as LintWords

/** The small folder with the shipped tags, and Spanish beside the English. */
const SMALL_ES: Readonly<Record<string, string>> = {
  ...SMALL,
  'shared/tags.yaml': shared('tags.yaml'),
  'shared/lint.es.yaml': shared('lint.es.yaml'),
  'shared/wording.es.yaml': `say/ring-now: "Llame ya al {emergency}."
reason/danger: Peligro.
reason/person: Quiere hablar con alguien.
reason/cannot-travel: No puede viajar.
ask/danger-signs: "¿Ve algo de esto?"
label/danger-signs: Señales de peligro
option/danger-signs/breathing: Le cuesta respirar
option/danger-signs/none: Nada de esto
ask/in-opening: "¿Qué hay en la abertura?"
label/in-opening: En la abertura
option/in-opening/nothing: Nada
option/in-opening/same-tube: La misma sonda
`,
  'tube-out/wording.es.yaml': 'say/cover: Tape la abertura con una tela limpia y seca.\n',
}

/** Problems of the small folder with some files put in place of others, without those of the form of a text. */
function loaded(changes: Readonly<Record<string, string>> = {}) {
  return loadFlows(new Map(Object.entries({ ...SMALL_ES, ...changes })), undefined, { languages: ['en', 'es'] })
}

/** Findings about one text of a caregiver, as "finding" or the tag that is missing. */
function findingsIn(language: string, id: string, text: string): string[] {
  const own = `tube-out/wording.${language}.yaml`
  const words = `${id === 'say/cover' ? '' : SMALL_ES[own]}${id}: ${JSON.stringify(text)}\n`
  const { problems } = loaded({ [own]: words })
  return problems
    .filter(({ code }) => code !== 'WORDING_MISSING')
    .map(({ found }) => /^"[^"]+" \(([a-z-]+)\)/.exec(found)?.[1] ?? /what "([^"]+)" means/.exec(found)?.[1] ?? found)
}

describe('a language that lacks a text', () => {
  const without = (file: string, line: string) => ({ [file]: (SMALL_ES[file] ?? '').replace(line, '') })

  it('is told which, where, and in which file it belongs', () => {
    const { set, problems } = loaded(without('shared/wording.es.yaml', 'label/in-opening: En la abertura\n'))
    expect(set).toBeUndefined()
    expect(problems.map(({ file, line, found, expected }) => `${file}:${line} ${found}: ${expected}`)).toContain(
      'shared/wording.en.yaml:10 text "label/in-opening", which es lacks: a line "label/in-opening: …" in shared/wording.es.yaml',
    )
  })

  it('is told of a withdrawal too, which no step asks for by name', () => {
    const { set, problems } = loaded({
      'tube-out/wording.en.yaml': 'say/cover: Cover the opening.\nstop/cover: "Stop: no cover now."\n',
    })
    expect(set).toBeUndefined()
    expect(problems.map(({ found }) => found)).toEqual(['text "stop/cover", which es lacks'])
  })

  it('is told of a text of the screens', () => {
    const { problems } = loaded({
      'shared/wording.screen.en.yaml': 'send: Send\ncheck: Check for answers\n',
      'shared/wording.screen.es.yaml': 'send: Enviar\n',
    })
    expect(problems.map(({ found, expected }) => `${found}: ${expected}`)).toEqual([
      'text "check", which es lacks: a line "check: …" in shared/wording.screen.es.yaml',
    ])
  })

  it('may be half written while it is not served', () => {
    const { 'tube-out/wording.es.yaml': _, ...files } = SMALL_ES
    const flows = new Map(Object.entries(files))
    expect(loadFlows(flows).problems.map(problemText)).toEqual([])
    const { set, problems } = loadFlows(flows, undefined, { languages: ['en', 'es'] })
    expect(set).toBeUndefined()
    expect(problems.map(({ found, expected }) => `${found}: ${expected}`)).toContain(
      'no text "say/cover" in es: a line "say/cover: …" in a wording.es.yaml',
    )
    expect(problems.map(({ found, expected }) => `${found}: ${expected}`)).toContain(
      'text "say/cover", which es lacks: a line "say/cover: …" in tube-out/wording.es.yaml',
    )
  })
})

describe('a small flow in English and Spanish', () => {
  it('has no finding', () => expect(loaded().problems.map(problemText)).toEqual([]))

  it('is not served in a language that no list checks', () => {
    const { 'shared/lint.es.yaml': _, ...files } = SMALL_ES
    const { set, problems } = loadFlows(new Map(Object.entries(files)))
    expect(set).toBeUndefined()
    expect(problems.map(({ code, file }) => `${code} ${file}`)).toEqual(['FILE_MISSING shared/lint.es.yaml'])
  })

  it('is not served where Spanish has lost a number to ring', () => {
    const { set, problems } = loaded({
      'tube-out/wording.en.yaml': 'say/cover: "Cover the opening. Worse? Ring {emergency}."\n',
    })
    expect(set).toBeUndefined()
    expect(problems.map(({ code, found }) => `${code} ${found}`)).toEqual([
      'NUMBER_LOST "say/cover" has no {emergency} in es, and has it in another language',
    ])
  })
})

// biome-ignore format: a table is read across
const bad: readonly (readonly [language: string, id: string, text: string, finding: string])[] = [
  ['en', 'say/cover', 'Cover the opening. Don’t worry.', 'promise'],
  ['en', 'say/cover', 'Cover the opening. Help is on the way.', 'promise'],
  ['en', 'say/cover', 'Cover the opening. We are watching.', 'promise'],
  ['en', 'say/cover', 'Cover the opening. There is plenty of time.', 'promise'],
  ['en', 'say/cover', 'It is too late to cover the opening.', 'too-late'],
  ['en', 'say/cover', 'You should have put a cloth on the opening.', 'blame'],
  ['en', 'say/cover', 'Read this while you are driving.', 'driver'],
  ['en', 'say/cover', 'The driver must read this now.', 'driver'],
  ['en', 'say/cover', 'Cover the opening. We write again soon.', 'vague-time'],
  ['en', 'say/cover', 'Cover the opening for a while.', ''],
  ['en', 'say/cover', 'Leave as soon as you can.', ''],
  ['en', 'say/cover', 'The skin is red.', 'colour-alone'],
  ['en', 'say/cover', 'The skin is red and hot.', ''],
  ['en', 'say/cover', 'Are the lips blue?', ''],
  ['en', 'say/cover', 'Cover his opening.', 'sex'],
  ['en', 'say/cover', 'Cover it when he’s calm.', 'sex'],
  ['en', 'say/cover', 'Cover the opening, {nickname} needs it.', 'names-child'],
  ['en', 'say/cover', 'Cover the opening with 2.', 'number-without-unit'],
  ['en', 'say/cover', 'Cover the opening 5 to 10.', 'number-without-unit'],
  ['en', 'say/cover', 'Cover the opening for 5 to 10 minutes.', ''],
  ['en', 'say/cover', 'Cover the opening until 2:45 am.', ''],
  ['en', 'say/cover', 'Cover the opening and call the nurse.', 'acts-together'],
  ['en', 'say/cover', 'Cover the opening, then call the nurse.', 'acts-together'],
  ['en', 'say/cover', 'Stop and ring 911 times.', ''],
  ['en', 'say/cover', 'Say: "Cover it and call the nurse."', ''],
  ['en', 'say/cover', 'Cover it. Keep the tube. Wait here. Tell us now.', 'acts-many'],
  ['en', 'say/cover', 'Cover the opening. Ensure it is dry.', 'stiff-words'],
  ['en', 'say/cover', 'Simply cover the opening.', 'waved-aside'],
  ['en', 'say/cover', 'Cover the stoma.', 'inner-words'],
  ['en', 'say/cover', 'Cover it with Clothix®.', 'brand'],
  ['en', 'say/cover', 'Cover it with impermeability.', 'long-word'],
  ['en', 'say/cover', 'The preparation and continuous application of a protective covering prevents complications.', 'reading-grade'],
  ['en', 'say/cover', `Cover it ${'now and '.repeat(9)}here.`, 'sentence-length'],
  ['en', 'ask/in-opening', 'Is there nothing in the opening?', 'negated-question'],
  ['en', 'ask/in-opening', 'Isn’t it empty?', 'negated-question'],
  ['en', 'why/in-opening', 'We ask so that we know what you can do.', 'text-length'],
  ['es', 'say/cover', 'Tape la abertura. No se preocupe.', 'promise'],
  ['es', 'say/cover', 'Tape la abertura. La ayuda va en camino.', 'promise'],
  ['es', 'say/cover', 'Tape la abertura. Estamos pendientes.', 'promise'],
  ['es', 'say/cover', 'Hay tiempo de sobra.', 'promise'],
  ['es', 'say/cover', 'Ya es demasiado tarde.', 'too-late'],
  ['es', 'say/cover', 'Usted debería haber llamado.', 'blame'],
  ['es', 'say/cover', 'Lea esto mientras maneja.', 'driver'],
  ['es', 'say/cover', 'Quien maneja no debe leer esto.', ''],
  ['es', 'say/cover', 'Le escribimos pronto.', 'vague-time'],
  ['es', 'say/cover', 'La piel está roja.', 'colour-alone'],
  ['es', 'say/cover', '¿Tiene los labios azules?', ''],
  ['es', 'say/cover', 'Tape la abertura de su hijo.', 'sex'],
  ['es', 'say/cover', 'Mire ahora a su hijo o hija.', ''],
  ['es', 'say/cover', 'Tape la abertura con 2.', 'number-without-unit'],
  ['es', 'say/cover', 'Espere 5 minutos.', ''],
  ['es', 'say/cover', 'Tape la abertura y llame al médico.', 'acts-together'],
  ['es', 'say/cover', 'Pare y llame al médico.', ''],
  ['es', 'say/cover', 'Ponte la tela en tu mano.', 'familiar-form'],
  ['es', 'say/cover', 'Tape el estoma.', 'inner-words'],
  ['es', 'say/cover', 'Tape la abertura aproximadamente así.', 'stiff-words'],
  ['es', 'say/cover', 'La administración inmediata de preparaciones farmacológicas constituye una contraindicación absoluta.', 'reading-grade'],
  ['es', 'ask/in-opening', '¿No hay nada en la abertura?', 'negated-question'],
  // ---- Hazardous acts ----
  ['en', 'say/cover', 'With no delay put the spare tube in.', 'puts-into-site'],
  ['en', 'say/cover', 'Put the spare tube in without force.', 'puts-into-site'],
  ['en', 'say/cover', 'If nobody comes put the tube in.', 'puts-into-site'],
  ['en', 'say/cover', 'If it does not come back put the tube in.', 'puts-into-site'],
  ['en', 'say/cover', 'Could you put the tube in now?', 'puts-into-site'],
  ['en', 'say/cover', 'Do not stop the feed.', 'restarts-feed'],
  ['en', 'say/cover', 'Keep the feed going.', 'restarts-feed'],
  ['en', 'say/cover', 'Do not let anybody put a tube in.', ''],
  ['en', 'say/cover', 'Has anybody put a tube in?', ''],
  ['es', 'say/cover', 'Meta la sonda nueva.', 'puts-into-site'],
  ['es', 'say/cover', 'Introdúzcala, la sonda.', 'puts-into-site'],
  ['es', 'say/cover', 'No espere, ponga la sonda.', 'puts-into-site'],
  ['es', 'say/cover', 'Dele la fórmula.', 'restarts-feed'],
  ['es', 'say/cover', 'Siga con la fórmula.', 'restarts-feed'],
  ['es', 'say/cover', 'No meta la sonda.', ''],
  ['es', 'say/cover', 'No le dé fórmula.', ''],
  ['es', 'say/cover', 'Nunca ponga nada en la abertura.', ''],
  ['es', 'say/cover', 'Pare la bomba de fórmula.', ''],
]

describe('a text', () => {
  it.each(bad.filter(([, , , finding]) => finding !== ''))(
    'in %s, %s "%s" is told: %s',
    (language, id, text, finding) => {
      expect(findingsIn(language, id, text)).toContain(finding)
    },
  )

  it.each(bad.filter(([, , , finding]) => finding === ''))(
    'in %s, %s "%s" has no such finding',
    (language, id, text) => {
      expect(findingsIn(language, id, text)).toEqual([])
    },
  )

  it('that tells a hazardous act needs the tag whether or not it is advice', () => {
    expect(findingsIn('en', 'say/a-notice', 'Put the tube back in.')).toEqual(['puts-into-site'])
    expect(findingsIn('en', 'stop/cover', 'Put the tube back in.')).toEqual(['puts-into-site'])
    expect(findingsIn('en', 'quick/in', 'Put the tube back in.')).toEqual(['puts-into-site'])
  })

  it('of the screens is looked at as well, but not one that only clinicians read', () => {
    const screen = (id: string) =>
      loaded({
        'shared/wording.screen.en.yaml': `${id}: Don’t worry.\n`,
        'shared/wording.screen.es.yaml': `${id}: Enviar\n`,
      }).problems.map(({ code, file }) => `${code} ${file}`)
    expect(screen('first-heading')).toEqual(['WORDS_BARRED shared/wording.screen.en.yaml'])
    expect(screen('clinic-heading')).toEqual([])
  })
})

describe('a form of a text that only some families see', () => {
  it('is looked at too', () => {
    const text = 'Cover it.{hasTravel, select, yes { Help is on the way.} other {}}'
    expect(findingsIn('en', 'say/cover', text)).toEqual(['promise'])
  })
})

describe.each(['en', 'es'])('the hazardous acts in %s', language => {
  const words = listOf(language)
  const pairs = Object.values(shippedFlows.tags).flatMap(tag =>
    tag.hazardous === true ? (tag.words?.[language] ?? []) : [],
  )
  const told = actFinder(pairs, forbiddingOf(words))
  const said = (pair: string) => pair.replace(/\./g, '')

  it('are each found as a plain order', () => {
    expect(pairs.length).toBeGreaterThan(50)
    expect(pairs.filter(pair => !told(`${said(pair)} X.`).includes(pair))).toEqual([])
  })

  it('are no order after a word that forbids', () => {
    const [no = ''] = words.negations.before
    const isNegated = (pair: string) => words.negations.before.includes(pair.split(' ')[0] ?? '')
    const missed = pairs.filter(pair => !isNegated(pair) && told(`${no} ${said(pair)} X.`).includes(pair))
    expect(missed).toEqual([])
  })
})

describe('instructions', () => {
  const told = instructions(listOf('en'))
  it.each([
    ['Do not pull it or cut it', ['pull']],
    ['Stop: do not wait', ['wait']],
    ['Tap a button, or write a few words', ['tap']],
    ['If it hurts, stop', ['stop']],
    ['We paged and go on paging', []],
    ['Will you cover it?', []],
    ['Please cover it and then call', ['cover', 'call']],
  ] as const)('in "%s" are %j', (sentence, verbs) => expect(told(sentence)).toEqual(verbs))
})

describe('a list', () => {
  it('may hold signs that mean something in patterns', () => {
    const strange = shared('lint.en.yaml')
      .replace('ands: [and, then]', 'ands: [and, then, "(*", "["]')
      .replace('clause-breaks: [but, then]', 'clause-breaks: [but, then, "?+"]')
      .replace('colour-of:\n  [lip', 'colour-of:\n  ["(lip", lip')
      .replace('phrases: ["®", "™"]', () => 'phrases: ["®", "™", "A(*)", "$&"]')
    expect(strange).not.toBe(shared('lint.en.yaml'))
    expect(loaded({ 'shared/lint.en.yaml': strange }).problems.map(problemText)).toEqual([])
    const named = loaded({
      'shared/lint.en.yaml': strange,
      'tube-out/wording.en.yaml': 'say/cover: Cover it with A(*).\n',
    })
    expect(named.problems.map(({ found }) => found)).toEqual(['"say/cover" (brand): "A(*)" in "Cover it with A(*)."'])
  })

  it('may hold a finding of the clinic’s own', () => {
    const rules = `${shared('lint.yaml')}  old-name:\n    severity: warning\n    expected: the new name\n`
    const words = shared('lint.en.yaml').replace('barred:\n', 'barred:\n  old-name: { phrases: [blue ward] }\n')
    const { problems } = loaded({
      'shared/lint.yaml': rules,
      'shared/lint.en.yaml': words,
      'tube-out/wording.en.yaml': 'say/cover: Ring the Blue Ward card desk.\n',
    })
    expect(problems.map(problemText)).toEqual([
      'tube-out/wording.en.yaml:1:12 WORDS_BARRED (warning): "say/cover" (old-name): "blue ward" in "Ring the Blue Ward card desk."; expected the new name',
    ])
  })
})

describe('an exception', () => {
  const words = 'say/cover: Cover the opening. We write again soon.\n'
  const entry = (more: string) =>
    `- text: say/cover\n  ${more}\n  reason: a reason that is long enough\n  by: A. Osei\n`
  const withExceptions = (text: string) =>
    loaded({ 'tube-out/wording.en.yaml': words, 'tube-out/lint-exceptions.yaml': text })

  it('lets its finding pass, and is counted with its reason and name', () => {
    const { set, problems, silenced } = withExceptions(entry('finding: vague-time'))
    expect(problems.map(problemText)).toEqual([])
    expect(set).toBeDefined()
    expect(silenced.map(silencedText)).toEqual([
      'tube-out/lint-exceptions.yaml:1 "say/cover": vague-time silenced by A. Osei: a reason that is long enough',
    ])
  })

  it('for another language lets nothing pass', () => {
    const { problems, silenced } = withExceptions(entry('finding: vague-time\n  language: es'))
    expect(problems.map(({ code }) => code)).toEqual(['WORDS_BARRED', 'EXCEPTION_UNUSED'])
    expect(silenced).toEqual([])
  })

  it('of another folder lets nothing pass', () => {
    const { problems } = loaded({
      'tube-out/wording.en.yaml': words,
      'shared/lint-exceptions.yaml': entry('finding: vague-time'),
    })
    expect(problems.map(({ code }) => code)).toEqual(['WORDS_BARRED', 'UNKNOWN_ID'])
  })

  it('lets no hazardous act pass', () => {
    const { set, problems } = loaded({
      'tube-out/wording.en.yaml': 'say/cover: Put the tube back in.\n',
      'tube-out/lint-exceptions.yaml': entry('finding: hazardous-act'),
    })
    expect(set).toBeUndefined()
    expect(problems.map(({ code }) => code)).toEqual(['TAG_MISSING', 'EXCEPTION_REFUSED'])
  })

  it.each([
    ['an unknown text', entry('finding: vague-time').replace('say/cover', 'say/covver'), 'UNKNOWN_ID', 'say/covver'],
    ['an unknown finding', entry('finding: vague-tim'), 'UNKNOWN_ID', 'vague-tim'],
    ['no reason', '- { text: say/cover, finding: vague-time, by: A. Osei }\n', 'MISSING', '0.reason'],
    [
      'no name',
      '- { text: say/cover, finding: vague-time, reason: a reason that is long enough }\n',
      'MISSING',
      '0.by',
    ],
  ])('with %s is told', (_what, text, code, found) => {
    const told = withExceptions(text).problems.filter(one => one.code === code)
    expect(told.map(one => one.found).join()).toContain(found)
  })
})

describe('a hazardous tag', () => {
  const files = [...shippedFiles.keys()].filter(path => path.endsWith('/sources.yaml'))
  const cases = files.flatMap(file => {
    const { advice } = parse(shippedFiles.get(file) ?? '', { version: '1.2' }) as {
      advice: Record<string, { tags: string[] }>
    }
    return Object.entries(advice).flatMap(([id, { tags }]) =>
      tags.filter(tag => shippedFlows.tags[tag]?.hazardous === true).map(tag => ({ file, id, tag })),
    )
  })

  it.each(cases)('taken from $id, $tag, is missed', ({ file, id, tag }) => {
    const document = parse(shippedFiles.get(file) ?? '', { version: '1.2' }) as {
      advice: Record<string, { tags: string[] }>
    }
    const one = document.advice[id]
    if (one !== undefined) one.tags = one.tags.filter(other => other !== tag)
    const { problems } = loadFlows(new Map([...shippedFiles, [file, JSON.stringify(document)]]))
    expect(problems.map(({ code, found }) => `${code} ${found}`)).toContain(
      `TAG_MISSING "${id}" tells someone to do what "${tag}" means`,
    )
  })
})
