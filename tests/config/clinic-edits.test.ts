import { chmodSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { parse } from 'yaml'
import { DEMO_CLINIC } from '../../src/cli/load-line.ts'
import { type ClinicEdit, clinicHash, type Edited, editClinic } from '../../src/config/clinic-edits.ts'
import { saveClinic } from '../../src/config/clinic-save.ts'
import { onCallAt } from '../../src/oncall/rota.ts'
import { at, wall } from '../oncall/clinic-built.ts'

const file = join(DEMO_CLINIC, 'clinic.yaml')
const demo = readFileSync(file, 'utf8')
// A Monday noon in New York, in winter time (IANA tz database).
const present = at('2026-11-30T17:00:00Z')

function edited(edit: ClinicEdit, text = demo): Extract<Edited, { kind: 'edited' }> {
  const result = editClinic({ file: 'clinic.yaml', text, seen: clinicHash(text), edit, at: present })
  if (result.kind !== 'edited') throw new Error(JSON.stringify(result, null, 1))
  return result
}

/** Lines that were added and taken out. */
function changed(before: string, after: string): { readonly added: string[]; readonly gone: string[] } {
  const [was, is] = [before.split('\n'), after.split('\n')]
  return { added: is.filter(line => !was.includes(line)), gone: was.filter(line => !is.includes(line)) }
}

const tonight: ClinicEdit = {
  kind: 'cover',
  role: 'first',
  who: 'linh',
  from: wall('2026-11-30 18:00'),
  until: wall('2026-12-01 08:00'),
  why: 'Tomás is ill',
}

describe('an edit of the clinic file', () => {
  it("sets tonight's person: one line more, nothing else touched, and that person is on call", () => {
    const { text, clinic, sentence, told, differences, hash } = edited(tonight)
    expect(changed(demo, text)).toEqual({
      added: ['  - { on-call: first, from: 2026-11-30 18:00, until: 2026-12-01 08:00, who: linh, why: Tomás is ill }'],
      gone: [],
    })
    expect(onCallAt(clinic, 'first', at('2026-12-01T04:00Z'))?.id).toBe('linh')
    expect(told).toEqual(['linh', 'tomas'])
    expect(differences).toHaveLength(1)
    expect(hash).toBe(clinicHash(text))
    expect(sentence).toBe(
      'Linh Tran is on call as "first" from Mon 30 Nov 2026 6:00 PM until Tue 1 Dec 2026 8:00 AM in place of Tomás Herrera; ' +
        'Linh Tran and Tomás Herrera are told; one day changes: Mon 30 Nov.',
    )
  })

  it('swaps two named shifts, and says both', () => {
    const { text, clinic, sentence, told } = edited({
      kind: 'swap',
      role: 'first',
      starts: wall('2026-12-02 18:00'),
      of: 'linh',
      to: 'amara',
      inReturn: { role: 'first', starts: wall('2026-12-04 18:00') },
    })
    expect(text).toContain(
      'swaps:\n  - { on-call: first, shift: 2026-12-02 18:00, of: linh, to: amara, in-return: 2026-12-04 18:00 }\n',
    )
    expect(text.startsWith(demo)).toBe(true)
    expect(onCallAt(clinic, 'first', at('2026-12-03T05:00Z'))?.id).toBe('amara')
    expect(onCallAt(clinic, 'first', at('2026-12-05T05:00Z'))?.id).toBe('linh')
    expect(told).toEqual(['linh', 'amara'])
    expect(sentence).toBe(
      'Amara Osei takes the shift of Linh Tran as "first" from Wed 2 Dec 2026 6:00 PM until Thu 3 Dec 2026 8:00 AM, ' +
        'and Linh Tran takes that of Amara Osei as "first" from Fri 4 Dec 2026 6:00 PM; ' +
        'Linh Tran and Amara Osei are told; 2 days change: Wed 2 Dec, Fri 4 Dec.',
    )
  })

  it('refuses a swap of a shift nobody has, and names the shifts that may be meant', () => {
    const edit: ClinicEdit = { kind: 'swap', role: 'first', starts: wall('2026-12-02 19:00'), of: 'linh', to: 'amara' }
    const result = editClinic({ file: 'clinic.yaml', text: demo, seen: clinicHash(demo), edit, at: present })
    expect(result).toMatchObject({ kind: 'refused' })
    expect(result.kind === 'refused' && result.problems.map(({ code, expected }) => `${code} ${expected}`)).toEqual([
      'SWAP_UNMATCHED the start of a shift of "linh": 2026-12-02 18:00, 2026-12-03 18:00',
    ])
  })

  it('leave opens holes that are told before it is saved, and cover closes them', () => {
    const away = edited({
      kind: 'leave',
      who: 'tomas',
      from: wall('2026-12-01 00:00'),
      until: wall('2026-12-04 00:00'),
    })
    expect(onCallAt(away.clinic, 'first', at('2026-12-02T04:00Z'))).toBeUndefined()
    expect(away.brings.map(({ code }) => code)).toContain('ROTA_GAP')
    expect(away.sentence).toMatch(
      /^Tomás Herrera is away from Tue 1 Dec 2026 12:00 AM until Fri 4 Dec 2026 12:00 AM, and nobody is then on call as "first" from Tue 1 Dec/,
    )
    const covered = edited(
      { kind: 'cover', role: 'first', who: 'amara', from: wall('2026-12-01 00:00'), until: wall('2026-12-01 08:00') },
      away.text,
    )
    expect(onCallAt(covered.clinic, 'first', at('2026-12-01T06:00Z'))?.id).toBe('amara')
    expect(covered.sentence).toContain('in place of nobody')
  })

  it('takes a line back, and the file is as it was', () => {
    const { text } = edited(tonight)
    expect(edited({ kind: 'take-back', section: 'changes', line: 2 }, text).text).toBe(demo)
  })

  it('the last line of a list leaves an empty list, into which the next one goes', () => {
    const one = edited({ kind: 'leave', who: 'tomas', from: wall('2026-12-01 00:00'), until: wall('2026-12-02 00:00') })
    const none = edited({ kind: 'take-back', section: 'leave', line: 0 }, one.text)
    expect(none.text).toBe(`${demo}\nleave: []\n`)
    const again = edited(
      { kind: 'leave', who: 'linh', from: wall('2026-12-01 00:00'), until: wall('2026-12-02 00:00') },
      none.text,
    )
    expect(again.text).toBe(`${demo}\nleave:\n  - { who: linh, from: 2026-12-01 00:00, until: 2026-12-02 00:00 }\n`)
  })

  it('changes a private number where it stands', () => {
    const { text, sentence, told } = edited({ kind: 'private-number', who: 'tomas', number: '+1 212 555 0182' })
    expect(changed(demo, text)).toEqual({
      added: ['    private-number: "+1 212 555 0182"'],
      gone: ['    private-number: "+1 212 555 0142"'],
    })
    expect(sentence).toBe(
      'The private number of Tomás Herrera changes from +1 212 555 0142 to +1 212 555 0182; Tomás Herrera is told; no night changes.',
    )
    expect(told).toEqual(['tomas'])
  })

  it('adds a private number where there is none, and changes where mail goes', () => {
    const added = edited({ kind: 'private-number', who: 'malia', number: '+1 212 555 0183' })
    expect(parse(added.text).people.malia['private-number']).toBe('+1 212 555 0183')
    expect(changed(demo, added.text).gone).toEqual([])
    const mail = edited({ kind: 'page-address', who: 'amara', way: 1, address: 'osei@harbourlights.example.test' })
    expect(parse(mail.text).people.amara['page-at'][1]).toEqual({
      pager: 'smtp',
      address: 'osei@harbourlights.example.test',
    })
  })

  it.each([
    [
      'a real number in a demonstration',
      { kind: 'private-number', who: 'tomas', number: '+1 212 736 5000' },
      'NUMBER_REAL',
    ],
    [
      'a number with too few digits',
      { kind: 'private-number', who: 'tomas', number: '+1 212 55' },
      'NUMBER_IMPOSSIBLE',
    ],
    ['somebody who has no such id', { ...tonight, who: 'nobody' }, 'UNKNOWN_ID'],
    ['somebody who answers no families', { ...tonight, who: 'malia' }, 'NOT_A_CLINICIAN'],
    ['an end before the start', { ...tonight, until: wall('2026-11-30 17:00') }, 'CHANGE_BACKWARDS'],
    [
      'a private number where families read',
      { kind: 'families-number', which: 'transport', number: '+12125550141' },
      'PRIVATE_SHOWN',
    ],
  ] as const)('refuses %s, and gives no text to write', (_what, edit, code) => {
    const result = editClinic({ file: 'clinic.yaml', text: demo, seen: clinicHash(demo), edit, at: present })
    expect(result.kind).toBe('refused')
    expect(result.kind === 'refused' && result.problems.map(one => one.code)).toContain(code)
    expect('text' in result).toBe(false)
  })

  it('refuses when the file is not the one that was seen, and says by which hash it goes now', () => {
    const other = demo.replace('Linh Tran', 'Linh N. Tran')
    expect(
      editClinic({ file: 'clinic.yaml', text: other, seen: clinicHash(demo), edit: tonight, at: present }),
    ).toEqual({
      kind: 'stale',
      hash: clinicHash(other),
      because: expect.stringContaining('changed by somebody else'),
    })
  })

  it.each([
    ['Windows line endings', (text: string) => text.replaceAll('\n', '\r\n')],
    ['no line ending at the end', (text: string) => text.trimEnd()],
    ['a list in one line', (text: string) => text.replace(/^changes:\n(?: {2}- .*\n)+/m, 'changes: []   # none\n')],
    ['a section with nothing in it', (text: string) => text.replace(/^changes:\n(?: {2}- .*\n)+/m, 'changes:\n')],
    ['no such section', (text: string) => text.replace(/^changes:\n(?: {2}- .*\n)+/m, '')],
    [
      'a comment after the last line',
      (text: string) => text.replace('why: holiday }', 'why: holiday } # as each year'),
    ],
  ])('with %s, the line is added and all that stood there is kept', (_what, spoil) => {
    const text = spoil(demo)
    const result = edited(tonight, text)
    const before = parse(text)
    expect(parse(result.text)).toEqual({
      ...before,
      changes: [
        ...(before.changes ?? []),
        {
          'on-call': 'first',
          from: '2026-11-30 18:00',
          until: '2026-12-01 08:00',
          who: 'linh',
          why: 'Tomás is ill',
        },
      ],
    })
    for (const comment of text.match(/#.*/g) ?? []) expect(result.text).toContain(comment)
    expect(result.text.includes('\r\n')).toBe(text.includes('\r\n'))
    expect(/[^\r]\n/.test(result.text)).toBe(/[^\r]\n/.test(text))
  })

  it('a reason full of signs is one text, and changes nothing else', () => {
    const why = 'swap }, who: amara } # "x"\n- {'
    const { text } = edited({ ...tonight, why })
    expect(parse(text).changes.at(-1)).toMatchObject({ who: 'linh', why: why.trim() })
  })
})

describe('an edit of what comes back', () => {
  it('gives a shift of the week to somebody else: three values of one line, every such night changes, and both are told', () => {
    const { text, sentence, told, clinic } = edited({
      ...{ kind: 'weekly', role: 'first', day: 'tuesday', shift: 1, who: 'linh', from: '18:00', to: '08:00' },
    })
    expect(changed(demo, text).added).toEqual([])
    expect(text.split('\n').filter((line, index) => line !== demo.split('\n')[index])).toEqual([
      '      - { from: 18:00, to: 08:00, who: linh }',
    ])
    expect(sentence).toMatch(
      /^Each Tuesday from 18:00 until 08:00 "first" is Linh Tran; Linh Tran and Tomás Herrera are told; 57 days change: Tue 1 Dec, Tue 8 Dec, /,
    )
    expect(told).toEqual(['linh', 'tomas'])
    expect(onCallAt(clinic, 'first', at('2026-12-02T04:00Z'))?.id).toBe('linh')
  })

  it('that leaves an hour without anybody says so before it is saved', () => {
    const { brings, differences } = edited({
      ...{ kind: 'weekly', role: 'first', day: 'tuesday', shift: 1, who: 'tomas', from: '19:00', to: '08:00' },
    })
    expect(brings.map(({ code }) => code)).toContain('ROTA_GAP')
    const [hole] = differences
    expect([hole?.role, hole?.before, hole?.after]).toEqual(['first', 'tomas', undefined])
  })

  it('puts a rung of the ladder earlier, takes one out, adds one: comments stay, and the sentence has both orders', () => {
    const earlier = edited({ kind: 'rung', rung: 2, act: 'earlier' })
    expect(earlier.sentence).toBe(
      'The order of paging was: 1. Day desk of the feeding clinic (while the clinic is open), 2. whoever is on call as "first", 3. whoever is on call as "second", 4. Ward 4 desk. ' +
        'It is then: 1. Day desk of the feeding clinic (while the clinic is open), 2. whoever is on call as "second", 3. whoever is on call as "first", 4. Ward 4 desk; nobody is told; no night changes.',
    )
    expect(changed(demo, earlier.text)).toEqual({ added: [], gone: [] })
    const last = edited({ kind: 'rung', rung: 3, act: 'earlier' })
    expect(last.text.indexOf('  - { desk: ward-desk }')).toBeLessThan(last.text.indexOf('  # The last rung'))
    const out = edited({ kind: 'rung', rung: 2, act: 'out' })
    expect(changed(demo, out.text)).toEqual({ added: [], gone: ['  - { on-call: second }'] })
    const more = edited({ kind: 'rung-new', names: 'person', id: 'ingrid', when: '22:00-07:00' })
    expect(changed(demo, more.text).added).toEqual(['  - { person: ingrid, when: 22:00-07:00 }'])
    expect(more.clinic.ladder.at(-1)).toMatchObject({ kind: 'person', id: 'ingrid', when: { kind: 'between' } })
  })

  it('puts in a shift more, on a day that has some, on a day that has none and on holidays; takes one out', () => {
    const line = { role: 'second', who: 'linh', from: '20:00', to: '22:00' } as const
    const more = edited({ kind: 'shift-new', day: 'monday', ...line })
    expect(parse(more.text).rota.second.monday.at(-1)).toEqual({ from: '20:00', to: '22:00', who: 'linh' })
    expect(more.sentence).toMatch(/^Each Monday from 20:00 until 22:00 "second" is Linh Tran/)
    const holiday = edited({ kind: 'shift-new', day: 'holiday', ...line })
    expect(changed(demo, holiday.text)).toEqual({
      added: ['    holiday: [{ from: 20:00, to: 22:00, who: linh }]'],
      gone: [],
    })
    const out = edited({ kind: 'shift-out', role: 'first', day: 'monday', shift: 1 })
    expect(out.text.split('\n')).toHaveLength(demo.split('\n').length - 1)
    expect(parse(out.text).rota.first.monday).toEqual([{ from: '08:00', to: '18:00', who: 'amara' }])
    expect(out.brings.map(({ code }) => code)).toContain('ROTA_GAP')
    const day = edited({ kind: 'shift-out', role: 'second', day: 'monday', shift: 0 })
    expect(parse(day.text).rota.second.monday).toBeUndefined()
  })

  it('puts in a role more, each day of the week; it is told that nobody is paged for it yet', () => {
    const { text, sentence, brings, clinic } = edited({
      ...{ kind: 'role-new', role: 'third', who: 'ingrid', from: '08:00', to: '08:00' },
    })
    expect(sentence).toMatch(/^There is a new role "third": Dr\. Ingrid Solheim each day from 08:00 until 08:00/)
    expect(changed(demo, text).gone).toEqual([])
    expect(onCallAt(clinic, 'third', at('2026-12-02T04:00Z'))?.id).toBe('ingrid')
    expect(brings.map(({ code }) => code)).toEqual(['ROLE_UNUSED'])
  })

  it('closes the clinic on a weekday: the day is left out of the file', () => {
    const { text, sentence } = edited({ kind: 'hours', day: 'friday', value: 'closed' })
    expect(changed(demo, text)).toEqual({ added: [], gone: ['  friday: 08:00-16:00'] })
    expect(sentence).toMatch(/^The clinic is closed on Fridays, no more 08:00-16:00/)
  })

  it.each<[string, ClinicEdit]>([
    ['a role that is there', { kind: 'role-new', role: 'first', who: 'linh', from: '08:00', to: '08:00' }],
    ['a role without a name', { kind: 'role-new', role: '', who: 'linh', from: '08:00', to: '08:00' }],
    ['a shift to take out that is not there', { kind: 'shift-out', role: 'first', day: 'monday', shift: 7 }],
    ['a day closed that is closed', { kind: 'hours', day: 'sunday', value: 'closed' }],
    [
      'nobody of the file',
      { kind: 'weekly', role: 'first', day: 'monday', shift: 0, who: 'nobody', from: '08:00', to: '18:00' },
    ],
    [
      'a time that is none',
      { kind: 'weekly', role: 'first', day: 'monday', shift: 0, who: 'linh', from: '8', to: '18:00' },
    ],
    [
      'a shift that is not there',
      { kind: 'weekly', role: 'first', day: 'monday', shift: 9, who: 'linh', from: '08:00', to: '18:00' },
    ],
    [
      'a day that is none',
      { kind: 'weekly', role: 'first', day: 'noday', shift: 0, who: 'linh', from: '08:00', to: '18:00' },
    ],
    ['the first rung earlier', { kind: 'rung', rung: 0, act: 'earlier' }],
    ['a rung that is not there', { kind: 'rung', rung: 12, act: 'out' }],
    ['a rung that names nobody', { kind: 'rung-new', names: 'desk', id: 'no-desk', when: '' }],
    ['a rung at no time', { kind: 'rung-new', names: 'desk', id: 'day-desk', when: 'at night' }],
  ])('with %s is refused and nothing is written', (_what, edit) => {
    const found = editClinic({ file: 'clinic.yaml', text: demo, seen: clinicHash(demo), edit, at: present })
    expect(found.kind).toBe('refused')
  })
})

describe('the sentence in Spanish, as the clinic’s people read it', () => {
  const inSpanish = (edit: ClinicEdit): string => {
    const asked = { file: 'clinic.yaml', text: demo, seen: clinicHash(demo), edit, at: present, language: 'es' }
    const result = editClinic(asked)
    if (result.kind !== 'edited') throw new Error(JSON.stringify(result))
    return result.sentence
  }
  const [from, until] = [wall('2026-12-01 08:00'), wall('2026-12-02 08:00')]

  it.each<[ClinicEdit, RegExp]>([
    [
      tonight,
      /^Linh Tran está de guardia como "primera" desde lun 30 nov 2026 .* hasta mar 1 dic 2026 .* en lugar de Tomás Herrera; se avisa a Linh Tran y Tomás Herrera; cambia un día: lun 30 nov\.$/,
    ],
    [
      { kind: 'leave', who: 'yusuf', from, until },
      /^Dr\. Yusuf Demir no está desde .*; se avisa a Dr\. Yusuf Demir; no cambia ninguna noche\.$/,
    ],
    [
      { kind: 'swap', role: 'first', starts: wall('2026-12-02 18:00'), of: 'linh', to: 'amara' },
      /^Amara Osei toma el turno de Linh Tran como "primera" desde mié 2 dic 2026 /,
    ],
    [{ kind: 'take-back', section: 'changes', line: 0 }, /^Se retira un cambio de guardia \(número 1 de la lista\)/],
    [
      { kind: 'private-number', who: 'amara', number: '+1 212 555 0199' },
      /^El número privado de Amara Osei cambia de .* a \+1 212 555 0199; se avisa a Amara Osei/,
    ],
    [
      { kind: 'setting', id: 'left-check', value: 'PT12M' },
      /^El ajuste "Preguntar si ya salieron" es 12 minutos; no se avisa a nadie; no cambia ninguna noche\.$/,
    ],
    [{ kind: 'date', day: '2027-04-02', value: 'closed' }, /^El viernes 2 de abril de 2027 la clínica está cerrada/],
    [
      { kind: 'hours', day: 'monday', value: '08:00-12:00' },
      /^La clínica abre el lunes 08:00-12:00, ya no 08:00-18:00/,
    ],
    [{ kind: 'retention', value: 'P60D' }, /^Los casos cerrados se guardan 60 días/],
    [
      { kind: 'families-number', which: 'transport', number: '+1 212 555 0118' },
      /^El número de transporte que ven las familias cambia de .*; todas las familias lo ven enseguida/,
    ],
    [
      { kind: 'hospital-number', hospital: 'harbour', number: '+1 212 555 0121' },
      /^El número al que llaman las familias en Harbour Point/,
    ],
    [
      { kind: 'weekly', role: 'first', day: 'tuesday', shift: 1, who: 'linh', from: '18:00', to: '08:00' },
      /^Cada martes desde las 18:00 hasta las 08:00 "primera" es Linh Tran; .*; cambian 57 días: .* y 51 más\.$/,
    ],
    [
      { kind: 'rung', rung: 2, act: 'out' },
      /^El orden de los avisos era: 1\. Day desk .* \(mientras la clínica está abierta\), 2\. quien está de guardia como "primera", .* Será: /,
    ],
  ])('$kind', (edit, sentence) => {
    expect(inSpanish(edit)).toMatch(sentence)
  })
})

describe('saving an edited clinic file', () => {
  const folders: string[] = []
  afterEach(() => {
    for (const folder of folders.splice(0)) rmSync(folder, { recursive: true })
  })
  function folderWith(text: string): string {
    const folder = mkdtempSync(join(tmpdir(), 'clinic-'))
    folders.push(folder)
    writeFileSync(join(folder, 'clinic.yaml'), text)
    return folder
  }

  it('writes it whole, with the rights it had, and leaves nothing beside', () => {
    const folder = folderWith(demo)
    const path = join(folder, 'clinic.yaml')
    chmodSync(path, 0o640)
    const { text, basedOn } = edited(tonight)
    expect(saveClinic(path, text, basedOn)).toEqual({ kind: 'saved' })
    expect(readFileSync(path, 'utf8')).toBe(text)
    expect(readdirSync(folder)).toEqual(['clinic.yaml'])
  })

  it('does not write over what somebody else saved meanwhile', () => {
    const other = `${demo}\n# by hand\n`
    const path = join(folderWith(other), 'clinic.yaml')
    const { text, basedOn } = edited(tonight)
    expect(saveClinic(path, text, basedOn)).toEqual({ kind: 'stale', hash: clinicHash(other) })
    expect(readFileSync(path, 'utf8')).toBe(other)
  })
})
