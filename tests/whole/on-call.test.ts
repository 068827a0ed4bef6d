import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { clinicWith, eventually, newFolder, type Served, serve } from './process.ts'
import { type Visit, visit } from './visit.ts'

/** Sunday 1 March 2026, 2:10 in the morning in New York: Amara Osei is first on call until 8:00. */
describe('who is on call, changed on the pages of the real process, without script', () => {
  const data = newFolder()
  const folder = newFolder()
  const file = join(folder.path, 'clinic.yaml')
  const text = () => readFileSync(file, 'utf8')
  let bot: Served
  let clerk: Visit
  let shipped: string

  beforeAll(async () => {
    clinicWith(folder.path, '  ladder-speak: [PT10M, PT20M, PT30M]\n')
    shipped = text()
    bot = await serve({ data: data.path, clinic: folder.path })
    clerk = visit(bot.origin)
  })
  afterAll(async () => {
    await bot.stop()
    data.remove()
    folder.remove()
  })

  /** A form's fields as a browser would send them: those that stand there, and what is filled in. */
  async function lookAt(path: string, filled: Readonly<Record<string, string>>): Promise<void> {
    const { markup } = await clerk.open(path)
    const standing = [...markup.matchAll(/<input id="([\w-]+)"[^>]*value="([^"]*)"/g)].map(
      ([, name = '', value = '']) => [name, value],
    )
    const chosen = [...markup.matchAll(/<select id="([\w-]+)"[\s\S]*?<\/select>/g)].map(([select = '', name = '']) => [
      name,
      /<option value="([^"]*)" selected/.exec(select)?.[1] ?? '',
    ])
    await clerk.press('Look at the change', { ...Object.fromEntries([...standing, ...chosen]), ...filled })
  }

  test('somebody else tonight: one sentence first, both are told, the waiting case pages her too, and a new one goes to her', async () => {
    const family = visit(bot.origin)
    await family.open('/')
    await family.press('Send', { text: 'I want to talk to a person' })
    await eventually('Amara is paged', async () => (await clerk.open('/board')).text.includes('to Amara Osei'))

    await lookAt('/on-call/change/cover', { who: 'linh' })
    const { text: shown } = clerk.page()
    expect(shown).toMatch(
      /Linh Tran is on call as "first" from Sun 1 Mar 2026 2:1\d AM until Sun 1 Mar 2026 8:00 AM in place of Amara Osei/,
    )
    expect(shown).toContain('Linh Tran and Amara Osei are told')
    expect(shown).toMatch(/These cases wait for an answer.*Sun \d{4} Speak to a clinician/)
    expect(text()).toBe(shipped)

    const caseId = /name="case" value="([0-9a-f]{32})"/.exec(clerk.page().markup)?.[1] ?? ''
    await clerk.press('Save', { case: caseId })
    expect(clerk.page().text).toContain('Saved.')
    expect(clerk.page().text).toContain('Linh Tran, now until today 8:00 am')
    await eventually('Linh is paged for the case that waited', async () => {
      const { text: board } = await clerk.open('/board')
      return /to Linh Tran by board · shown here WANTS CLINICIAN/.test(board)
    })
    await eventually('both are told of the change', async () => {
      const { text: board } = await clerk.open('/board')
      return (
        /to Amara Osei by board · shown here On-call change\./.test(board) &&
        /to Linh Tran by board · shown here On-call change\./.test(board)
      )
    })
    const next = visit(bot.origin)
    await next.open('/')
    await next.press('Send', { text: 'please let me talk to a person' })
    expect(next.page().text).toContain('Linh Tran')
  })

  test('it can be undone for ten minutes: the file is as it was, to the letter', async () => {
    expect(text()).not.toBe(shipped)
    await clerk.open('/on-call')
    await clerk.press(/^Undo it/)
    expect(clerk.page().text).toContain('Undone.')
    expect(text()).toBe(shipped)
    expect(clerk.page().text).toContain('Amara Osei, now until today 8:00 am')
    expect(clerk.page().buttons.some(label => /^Undo/.test(label))).toBe(false)
  })

  test('two people at once: the second sees what the first changed, and their own change on the new file', async () => {
    const second = visit(bot.origin)
    await second.open('/on-call/change/leave')
    await lookAt('/on-call/change/cover', {
      who: 'tomas',
      from: '2026-03-07T18:00',
      until: '2026-03-08T08:00',
      role: 'first',
    })
    await clerk.press('Save')
    await second.press('Look at the change', {
      who: 'linh',
      from: '2026-03-12T08:00',
      until: '2026-03-13T08:00',
      why: 'course',
    })
    expect(second.page().status).toBe(409)
    expect(second.page().text).toContain(
      "Somebody else changed the clinic's file since you opened it. Nothing was saved.",
    )
    expect(second.page().text).toContain('Amara Osei changed this: Tomás Herrera is on call as "first"')
    expect(second.page().text).toContain('Linh Tran is away from Thu 12 Mar 2026 8:00 AM')
    await second.press('Save')
    expect(second.page().text).toContain('Saved.')
    expect(text()).toContain('who: tomas')
    expect(text()).toContain('course')
  })

  test('a hole is shown with the form that fills it, and a line is taken back', async () => {
    const { markup, text: shown } = await clerk.open('/on-call')
    expect(shown).toMatch(/first: nobody from Thursday 12 March/)
    const fill = (/href="(\/on-call\/change\/cover\?role=first[^"]*)"/.exec(markup)?.[1] ?? '').replaceAll('&amp;', '&')
    await lookAt(fill, { who: 'amara' })
    expect(clerk.page().text).toContain('Amara Osei is on call as "first" from Thu 12 Mar 2026')
    await clerk.press('Save')
    expect(clerk.page().text).not.toMatch(/first: nobody from Thursday 12 March/)
    const back = /href="(\/on-call\/change\/take-back\?section=leave[^"]*)"/.exec(clerk.page().markup)?.[1] ?? ''
    await clerk.open(back.replaceAll('&amp;', '&'))
    await clerk.press('Save')
    expect(text()).not.toContain('course')
  })

  test('Saturday is swapped by choosing the shift, who takes it and what goes back', async () => {
    const { markup } = await clerk.open('/on-call/change/swap')
    const shift = (says: RegExp): string =>
      [...markup.matchAll(/<option value="([^"]+)">([^<]+)</g)].find(([, , label = '']) => says.test(label))?.[1] ?? ''
    const given = shift(/Saturday 14 March 6:00 pm .* Amara Osei \(first\)/)
    const taken = shift(/Saturday 14 March 8:00 am .* Linh Tran \(first\)/)
    await clerk.press('Look at the change', { shift: given, to: 'linh', 'in-return': taken })
    expect(clerk.page().text).toContain(
      'Linh Tran takes the shift of Amara Osei as "first" from Sat 14 Mar 2026 6:00 PM',
    )
    await clerk.press('Save')
    expect(clerk.page().text).toContain('Linh Tran takes the shift of Amara Osei as first')
  })

  test('what does not fit is refused with the reason, and the file stays as it is', async () => {
    const before = text()
    await lookAt('/on-call/change/number', { who: 'amara', number: '+1 212 736 5000' })
    expect(clerk.page().status).toBe(422)
    expect(clerk.page().text).toContain('Nothing was saved, since this cannot stand. This is a demonstration.')
    await lookAt('/on-call/change/cover', { who: 'linh', from: '2026-03-01T08:00', until: '2026-03-01T02:00' })
    expect(clerk.page().status).toBe(422)
    await lookAt('/on-call/change/leave', { who: '' })
    expect(clerk.page().text).toContain('Fill in every field.')
    expect(text()).toBe(before)
  })

  test("a telephone's number is said to be right, and is not when it changes; what changed is on the sheet for the wall", async () => {
    await clerk.open('/on-call')
    await clerk.press('This number is right', {}, ['number', '+12125550141'])
    expect(clerk.page().text).toContain('Noted. The number is right.')
    expect(clerk.page().text.split('Number said to be right by')).toHaveLength(2)
    await lookAt('/on-call/change/number', { who: 'amara', number: '+1 212 555 0199' })
    expect(clerk.page().text).toContain(
      'The private number of Amara Osei changes from +1 212 555 0141 to +1 212 555 0199',
    )
    await clerk.press('Save')
    expect((await clerk.open('/on-call')).text).not.toContain('Number said to be right by')
    expect((await clerk.open('/now/print')).text).toContain('+1 212 555 0199')
  })

  test('a test call-out reaches its owner by each way; opening its link proves nothing, the press does', async () => {
    await clerk.open('/on-call')
    expect(clerk.page().text).toContain('Not yet proved.')
    await clerk.press('Send a test call-out')
    expect(clerk.page().text).toContain('A test call-out goes to Amara Osei now, by: board, e-mail, signed web hook.')
    const path = await eventually('it is on the board and in the mail', async () => {
      const { text: board, markup } = await clerk.open('/board')
      return /by e-mail[^·]*· [^·]*TEST CALL-OUT/.test(board)
        ? /href="(\/p\/test\/[^"]+)"/.exec(markup)?.[1]
        : undefined
    })
    const owner = visit(bot.origin)
    await owner.open(path)
    expect((await clerk.open('/on-call')).text).toContain('A test call-out of today')
    await owner.press('I have this telephone')
    expect(owner.page().text).toContain('Answered at 2:1')
    expect((await clerk.open('/on-call')).text).toContain('Proved: a test call-out was answered today')
    expect((await owner.open('/p/test/nonsense-token')).status).toBe(404)
  })

  test('a calendar is taken in: its days are read first, a file may be sent, it can be undone, and taken out', async () => {
    const before = text()
    const night = (title: string) =>
      `BEGIN:VEVENT\r\nUID:1\r\nDTSTART;TZID=America/New_York:20260302T180000\r\nDTEND;TZID=America/New_York:20260303T080000\r\nRRULE:FREQ=DAILY;COUNT=20\r\nSUMMARY:${title}\r\nEND:VEVENT\r\n`
    const calendar = (title: string) => `BEGIN:VCALENDAR\r\nVERSION:2.0\r\n${night(title)}END:VCALENDAR\r\n`
    await clerk.open('/on-call/calendar')
    await clerk.press('Look at the days', { role: 'first', text: calendar('Night duty') })
    expect(clerk.page().status).toBe(422)
    expect(clerk.page().text).toMatch(/"Night duty" This is the name of nobody here \(20 shifts\)/)
    expect(clerk.page().buttons).not.toContain('Save')

    await clerk.open('/on-call/calendar')
    await clerk.press('Look at the days', { role: 'first', text: calendar('Dr. Yusuf Demir') })
    expect(clerk.page().text).toMatch(
      /"first" follows a calendar that is taken in once: 20 shifts, the last one until Sun 22 Mar 2026 8:00 AM; .*Dr\. Yusuf Demir.* told/,
    )
    expect(clerk.page().text).toMatch(/Monday 2 March first .* 6:00 pm Dr\. Yusuf Demir Tuesday 3 March/)
    expect(clerk.page().text).toMatch(/\(not from this calendar\)/)
    expect(text()).toBe(before)
    await clerk.press('Save')
    expect(clerk.page().text).toContain('Saved.')
    expect(text()).toMatch(/calendars:\n {2}- \{ on-call: first, shifts: calendars\/first-[0-9a-f]{8}\.json \}\n$/)
    await clerk.press(/^Undo it/)
    expect(text()).toBe(before)

    // As a browser sends a file.
    const form = new FormData()
    form.set('role', 'first')
    form.set('file', new File([calendar('Tomás Herrera')], 'rota.ics', { type: 'text/calendar' }))
    form.set('text', '')
    const sent = await fetch(`${bot.origin}/on-call/calendar`, {
      ...{ method: 'POST', body: form, redirect: 'manual', headers: { origin: bot.origin } },
    })
    expect(sent.status).toBe(303)
    await clerk.open(sent.headers.get('location') ?? '')
    await clerk.press('Save')
    await clerk.open('/on-call/calendar')
    expect(clerk.page().text).toMatch(/first Taken in once, today .* Its last shift ends Sunday 22 March 8:00 am/)
    await clerk.open('/on-call/change/calendar-out?role=first')
    expect(clerk.page().text).toContain('"first" follows no calendar any more, and its week counts again')
    await clerk.press('Save')
    expect((await clerk.open('/on-call/calendar')).text).toContain('No calendar is taken in.')
    const large = await fetch(`${bot.origin}/on-call/calendar`, {
      ...{ method: 'POST', body: `text=${'x'.repeat(4_000_001)}`, headers: { origin: bot.origin } },
    })
    expect([large.status, await large.text()]).toEqual([413, expect.stringContaining('more than 4 MB')])
  })

  test('a change made by hand on disk meanwhile cannot be undone over', async () => {
    await lookAt('/on-call/change/cover', {
      who: 'linh',
      from: '2026-03-21T18:00',
      until: '2026-03-22T08:00',
      role: 'first',
    })
    await clerk.press('Save')
    writeFileSync(file, `${text()}\n# by hand\n`)
    await clerk.press(/^Undo it/)
    expect(clerk.page().status).toBe(409)
    expect(text()).toContain('# by hand')
  })
})
