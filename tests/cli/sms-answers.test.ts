import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { minutes } from '../../src/time/instant.ts'
import { type SmsNight, smsNight } from '../support/sms-night.ts'

const AMARA = '+12125550141'
const INGRID = '+12125550145'

let night: SmsNight
beforeEach(async () => {
  night = await smsNight()
})
afterEach(() => night.stop())

const textsTo = (number: string) => night.textsTo(number)
const answers = (from: string, text: string) => night.answers(from, text)
const saidToFamily = () =>
  night.told.flatMap(({ parts }) => parts.map(part => ('text' in part ? part.text : ''))).join('\n')

describe('a page by text message', { timeout: 30_000 }, () => {
  let code = ''
  beforeEach(async () => {
    await night.say('her tube is out and her lips are blue')
    await vi.waitFor(() => expect(textsTo(AMARA)).not.toEqual([]))
    code = /text back\. (\d{4}) 1: ringing now/.exec(textsTo(AMARA)[0] ?? '')?.[1] ?? ''
  })

  it('tells how to answer it, and is answered with the code and a digit: the family hears who has taken it', async () => {
    expect(textsTo(AMARA)[0]).toMatch(
      /^AMBULANCE, told.+https:\/\/feeding\.example\/p\/\S+ Or text back\. \d{4} 1: ringing now\./s,
    )
    const answer = await answers(AMARA, `${code} 1`)
    expect(answer).toBe(
      `You have case ${code}. The family was told. Their number is behind the link of the page. Harbour Lights feeding clinic: +1 212 555 0110`,
    )
    expect(saidToFamily()).toContain('Amara Osei, feeding nurse, has taken this on')
  })

  it.each(['Sun CODE 2', 'sun CODE, 2', 'CODE-2', '"CODE 2"', 'CODE２'])('is answered as %s', async text => {
    await answers(AMARA, text.replace('CODE', code))
    expect(saidToFamily()).toContain('I will ring you by 2:25 am')
  })

  it('answered twice, or delivered twice by the telephone company, is taken once', async () => {
    await answers(AMARA, `${code} 1`)
    const before = night.told.length
    expect(await night.peer.deliver(AMARA, `${code} 1`)).toBe(0)
    await night.bot.runtime.idle()
    expect(night.told).toHaveLength(before)
  })

  it('passed on goes to the next person, and nobody passes on what another has taken', async () => {
    expect(await answers(AMARA, `${code} 4`)).toContain(`Case ${code} is passed on.`)
    await vi.waitFor(() => expect(textsTo(INGRID).at(0)).toContain(code))
    expect(await answers(INGRID, `${code} 3`)).toContain(`You have case ${code}.`)
    expect(saidToFamily()).toContain('Go in. I will tell the hospital.')
    const isTaken = `Dr. Ingrid Solheim has case ${code} since 2:10 am. Nothing was changed.`
    expect(await answers(AMARA, `${code} 4`)).toBe(isTaken)
  })

  it.each(['ok', '1', '4719', 'CODE 5', 'CODE', 'on my way 12'])(
    'answered with "%s" does nothing, and says so',
    async text => {
      expect(await answers(AMARA, text.replace('CODE', code))).toContain('Not understood. Nothing was done.')
      expect(saidToFamily()).not.toContain('has taken this on')
    },
  )

  it('answered with another case’s digits does nothing, and says so', async () => {
    const other = code === '1234' ? '4321' : '1234'
    expect(await answers(AMARA, `${other} 1`)).toContain(`no open case ${other} that you were paged for`)
  })

  it('taken by one is taken by no second: who came later hears who has it', async () => {
    await answers(AMARA, `${code} 4`)
    await vi.waitFor(() => expect(textsTo(INGRID)).not.toEqual([]))
    await answers(INGRID, `${code} 1`)
    expect(await answers(AMARA, `${code} 1`)).toContain('Ingrid Solheim has case')
  })

  it('is answered by nobody who was not paged for it', async () => {
    expect(await answers('+12125550143', `${code} 1`)).toContain(`no open case ${code} that you were paged for`)
    expect(saidToFamily()).not.toContain('has taken this on')
  })

  it('whose answer is a machine’s gets one reply, and no second one for ten minutes', async () => {
    await answers(AMARA, 'I am driving.')
    const before = textsTo(AMARA).length
    for (let round = 0; round < 5; round++) await night.peer.deliver(AMARA, 'I am driving.')
    expect(textsTo(AMARA)).toHaveLength(before)
    await night.pass(minutes(1))
    expect(await night.peer.deliver(AMARA, 'I am driving.')).toBe(0)
  })

  it('is not confused with a family that texts the number: it is told that nobody reads this, and whom to ring', async () => {
    const answer = await answers('+12125550177', 'help her tube came out')
    expect(answer).toContain('nobody reads texts to this number')
    expect(answer).toContain('911')
    expect(answer).toContain('+1 212 555 0110')
  })
})

describe('a page by text message that did not get to the telephone', { timeout: 30_000 }, () => {
  const danger = 'her tube is out and her lips are blue'
  const boardOf = async (one: SmsNight): Promise<string> => {
    const server = await one.bot.serve(0)
    try {
      return await (await fetch(`http://localhost:${server.port}/board`)).text()
    } finally {
      await server.stop()
    }
  }

  it('has the next person paged at once, and the board says whom to ring', async () => {
    const only = await smsNight({ onlyTexts: true })
    try {
      await only.say(danger)
      await vi.waitFor(() => expect(only.textsTo(AMARA)).not.toEqual([]))
      expect(only.textsTo(INGRID)).toEqual([])
      await only.peer.receipt(AMARA, 'UNDELIV')
      await vi.waitFor(() => expect(only.textsTo(INGRID)).not.toEqual([]))
      expect(await boardOf(only)).toContain('A page by text message to Amara Osei did not get to the telephone')
    } finally {
      await only.stop()
    }
  })

  it('is told also when the bot was started anew since the page', async () => {
    const only = await smsNight({ onlyTexts: true })
    try {
      await only.say(danger)
      await vi.waitFor(() => expect(only.textsTo(AMARA)).not.toEqual([]))
      await only.restart()
      await only.peer.receipt(AMARA, 'UNDELIV')
      await vi.waitFor(() => expect(only.textsTo(INGRID)).not.toEqual([]))
      await only.restart()
      expect(await boardOf(only)).toContain('A page by text message to Amara Osei did not get to the telephone')
    } finally {
      await only.stop()
    }
  })

  it('waits for its turn where another way took the page too; the board says it all the same', async () => {
    await night.say(danger)
    await vi.waitFor(() => expect(textsTo(AMARA)).not.toEqual([]))
    await night.peer.receipt(AMARA, 'UNDELIV')
    await night.bot.runtime.idle()
    expect(await boardOf(night)).toContain('to Amara Osei did not get to the telephone')
    expect(textsTo(INGRID)).toEqual([])
  })

  it('and one that did says nothing', async () => {
    await night.say(danger)
    await vi.waitFor(() => expect(textsTo(AMARA)).not.toEqual([]))
    await night.peer.receipt(AMARA, 'DELIVRD')
    await night.bot.runtime.idle()
    expect(await boardOf(night)).not.toContain('did not get to the telephone')
    expect(textsTo(INGRID)).toEqual([])
  })
})
