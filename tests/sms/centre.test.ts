import type { Pdu, Session } from 'smpp'
import { afterEach, describe, expect, it, vi } from 'vitest'
import { type Centre, type CentreOptions, shortMessageCentre } from '../../src/sms/centre.ts'
import type { Receipt } from '../../src/sms/receipts.ts'
import { type TestCentre, testCentre, textOf } from '../support/sms-centre.ts'

const open: { stop(): Promise<unknown> }[] = []
afterEach(async () => {
  await Promise.all(open.splice(0).map(one => one.stop()))
})

const TO = '+12125550142'

async function connected(
  onSubmit?: (pdu: Pdu, session: Session, count: number) => void,
  more: Partial<CentreOptions> = {},
): Promise<{ centre: Centre; peer: TestCentre }> {
  const peer = await testCentre(onSubmit)
  open.push(peer)
  const centre = shortMessageCentre({
    ...{
      host: '127.0.0.1',
      port: peer.port,
      security: 'none',
      systemId: 'clinic',
      password: 'pass',
      from: '+12125550100',
    },
    timeouts: { answerMs: 300, quietMs: 60_000, partsMs: 300 },
    ...more,
  })
  open.unshift(centre)
  centre.start()
  await vi.waitFor(() => expect(peer.bound).not.toEqual([]))
  return { centre, peer }
}

/** Answers every submission with this status. */
const answering = (status: number) => (pdu: Pdu, session: Session) =>
  session.send(pdu.response({ command_status: status }))

describe('a text message', () => {
  it('is accepted once the centre has taken every part, in the right alphabet, to the right number', async () => {
    const { centre, peer } = await connected()
    const text = `GO TO HOSPITAL ${'x'.repeat(300)} €`
    expect(await centre.send(TO, text)).toEqual({ kind: 'accepted' })
    expect(peer.submitted).toHaveLength(3)
    expect(textOf(peer.submitted)).toBe(text)
    const [first] = peer.submitted
    expect([first?.destination_addr, first?.data_coding]).toEqual(['12125550142', 0])
  })

  // Status codes of SMPP 3.4 table 5-2 (from memory).
  it.each([
    [0x58, { kind: 'failed', reason: 'the centre says: too many messages at once (0x58)', retryAfterMs: 5_000 }],
    [0x14, { kind: 'failed', reason: 'the centre says: its queue is full (0x14)', retryAfterMs: 5_000 }],
    [0x0b, { kind: 'refused', reason: 'the centre answered 0x0b' }],
  ])('that the centre answers with %i is told as it is', async (status, outcome) => {
    const { centre } = await connected(answering(status))
    expect(await centre.send(TO, 'Case 4719')).toEqual(outcome)
  })

  it('that is not answered, or whose connection breaks, may have arrived', async () => {
    const silent = await connected(() => undefined)
    expect(await silent.centre.send(TO, 'Case 4719')).toEqual({
      kind: 'unknown',
      reason: 'the centre did not answer in time',
    })
    const broken = await connected((_, session) => session.destroy())
    expect(await broken.centre.send(TO, 'Case 4719')).toEqual({
      kind: 'unknown',
      reason: 'the connection was lost before the centre answered',
    })
  })

  it('of which only the first part was taken may have arrived in part', async () => {
    const { centre } = await connected((pdu, session, count) => answering(count === 1 ? 0 : 0x58)(pdu, session))
    expect(await centre.send(TO, 'x'.repeat(200))).toMatchObject({ kind: 'unknown', reason: /^part 2 of 2: / })
  })

  it('is not sent while nobody lets us in, and says so; once there is a connection it goes', async () => {
    let mayBind = false
    const peer = await testCentre(undefined, () => mayBind)
    open.push(peer)
    const centre = shortMessageCentre({
      ...{
        host: '127.0.0.1',
        port: peer.port,
        security: 'none',
        systemId: 'clinic',
        password: 'wrong',
        from: 'Clinic',
      },
      timeouts: { answerMs: 400 },
    })
    open.unshift(centre)
    centre.start()
    expect(await centre.send(TO, 'Case 4719')).toEqual({
      kind: 'failed',
      reason: 'text message centre: the centre does not let us in (0x0e)',
    })
    expect(centre.doubt()).toContain('does not let us in')
    mayBind = true
    await vi.waitFor(async () => expect(await centre.send(TO, 'Case 4719')).toEqual({ kind: 'accepted' }), 5_000)
    expect(centre.doubt()).toBeUndefined()
  })

  it('goes over a new connection after the first was lost', async () => {
    const { centre, peer } = await connected()
    for (const session of peer.bound) session.destroy()
    await vi.waitFor(async () => expect(await centre.send(TO, 'Case 4719')).toEqual({ kind: 'accepted' }), 5_000)
    expect(peer.bound).toHaveLength(2)
  })

  it('is not sent after the end', async () => {
    const { centre, peer } = await connected()
    await centre.stop()
    expect(await centre.send(TO, 'Case 4719')).toEqual({ kind: 'failed', reason: 'text message centre: it is stopped' })
    expect(peer.submitted).toEqual([])
  })
})

describe('a text message that comes in', () => {
  it('is answered to the centre once it is kept; where it was not, the centre is asked to come again', async () => {
    const got: string[] = []
    let isKept = false
    const { peer } = await connected(undefined, {
      onMessage: async (from, text) => {
        if (!isKept) throw new Error('the disk is full')
        got.push(`${from} ${text}`)
      },
    })
    expect(await peer.deliver(TO, 'Sun 4719 1')).toBe(0x64)
    isKept = true
    expect(await peer.deliver(TO, 'Sun 4719 1')).toBe(0)
    expect(got).toEqual([`${TO} Sun 4719 1`])
  })

  it('is put together of its parts, in any order, and answered when all of it is kept', async () => {
    const got: string[] = []
    const { peer } = await connected(undefined, { onMessage: async (_, text) => void got.push(text) })
    const part = (number: number, message: string) =>
      peer.deliver(TO, { udh: Buffer.from([5, 0, 3, 9, 2, number]), message })
    expect(await Promise.all([part(2, 'is wet'), part(1, 'the dressing ')])).toEqual([0, 0])
    expect(got).toEqual(['the dressing is wet'])
  })

  it('whose other part never comes is read as far as it came', async () => {
    const got: string[] = []
    const { peer } = await connected(undefined, { onMessage: async (_, text) => void got.push(text) })
    expect(await peer.deliver(TO, { udh: Buffer.from([5, 0, 3, 9, 2, 1]), message: 'it bleeds' })).toBe(0)
    expect(got).toEqual(['it bleeds'])
  })

  it('as a receipt is answered and read by nobody', async () => {
    const got: string[] = []
    const { peer } = await connected(undefined, { onMessage: async (_, text) => void got.push(text) })
    expect(await peer.deliver(TO, 'id:1 stat:DELIVRD', { esm_class: 0x04 })).toBe(0)
    expect(got).toEqual([])
  })

  it('in another alphabet is read in it', async () => {
    const got: string[] = []
    const { peer } = await connected(undefined, { onMessage: async (_, text) => void got.push(text) })
    await peer.deliver(TO, { message: 'идёт кровь' }, { data_coding: 8 })
    expect(got).toEqual(['идёт кровь'])
  })
})

describe('a delivery receipt', () => {
  let number = 0
  /** Takes each part under an id of its own, `a1`, `a2` … */
  const numbering = (pdu: Pdu, session: Session) => session.send(pdu.response({ message_id: `00a${++number}` }))

  async function receiptsAfter(text: string, about?: string) {
    number = 0
    const told: (readonly [string, Receipt])[] = []
    const { centre, peer } = await connected(numbering, {
      onReceipt: async (who, outcome) => void told.push([who, outcome]),
    })
    expect(await centre.send(TO, text, about)).toEqual({ kind: 'accepted' })
    return { told, peer }
  }
  // The words of SMPP 3.4 appendix B, as its example has them (from memory).
  const receipt = (id: string, stat: string) =>
    `id:${id} sub:001 dlvrd:000 submit date:2611300214 done date:2611300215 stat:${stat} err:001 text:Page`

  it('is asked for where somebody waits for it, and not else', async () => {
    const { peer } = await receiptsAfter('Case 4719', 'page-1')
    expect(peer.submitted.map(pdu => pdu.registered_delivery)).toEqual([1])
    const other = await receiptsAfter('Case 4719')
    expect(other.peer.submitted.map(pdu => pdu.registered_delivery)).toEqual([0])
  })

  it.each<[string, Receipt | undefined]>([
    ['DELIVRD', 'delivered'],
    ['UNDELIV', 'lost'],
    ['EXPIRED', 'lost'],
    ['REJECTD', 'lost'],
    ['DELETED', 'lost'],
    ['ENROUTE', undefined],
    ['ACCEPTD', undefined],
    ['UNKNOWN', undefined],
  ])('that says %s is told as %s, once', async (stat, outcome) => {
    const { told, peer } = await receiptsAfter('Case 4719', 'page-1')
    for (let count = 0; count < 2; count += 1)
      expect(await peer.deliver(TO, receipt('a1', stat), { esm_class: 0x04 })).toBe(0)
    expect(told).toEqual(outcome === undefined ? [] : [['page-1', outcome]])
  })

  it('in the optional fields counts as in words', async () => {
    const { told, peer } = await receiptsAfter('Case 4719', 'page-1')
    await peer.deliver(TO, '', { esm_class: 0x04, receipted_message_id: '00a1', message_state: 5 })
    expect(told).toEqual([['page-1', 'lost']])
  })

  it('of a text in parts: delivered with the last part, lost with the first lost one', async () => {
    const long = 'x'.repeat(300)
    const whole = await receiptsAfter(long, 'page-1')
    await whole.peer.deliver(TO, receipt('a1', 'DELIVRD'), { esm_class: 0x04 })
    expect(whole.told).toEqual([])
    await whole.peer.deliver(TO, receipt('a2', 'DELIVRD'), { esm_class: 0x04 })
    expect(whole.told).toEqual([['page-1', 'delivered']])
    const broken = await receiptsAfter(long, 'page-2')
    await broken.peer.deliver(TO, receipt('a2', 'UNDELIV'), { esm_class: 0x04 })
    await broken.peer.deliver(TO, receipt('a1', 'DELIVRD'), { esm_class: 0x04 })
    expect(broken.told).toEqual([['page-2', 'lost']])
  })

  it('that could not be told is asked for again, and then told', async () => {
    const told: string[] = []
    number = 0
    const onReceipt = async (who: string) => {
      told.push(who)
      if (told.length === 1) throw new Error('the store is full')
    }
    const { centre, peer } = await connected(numbering, { onReceipt })
    await centre.send(TO, 'Case 4719', 'page-1')
    // SMPP 3.4 section 5.1.3: 8 is a system error.
    expect(await peer.deliver(TO, receipt('a1', 'UNDELIV'), { esm_class: 0x04 })).toBe(8)
    expect(await peer.deliver(TO, receipt('a1', 'UNDELIV'), { esm_class: 0x04 })).toBe(0)
    expect(told).toEqual(['page-1', 'page-1'])
  })

  it('about a message of somebody else, and one that is none, is taken and means nothing', async () => {
    const { told, peer } = await receiptsAfter('Case 4719', 'page-1')
    for (const words of [receipt('a99', 'UNDELIV'), 'hello', 'stat:UNDELIV', ''])
      expect(await peer.deliver(TO, words, { esm_class: 0x04 })).toBe(0)
    expect(told).toEqual([])
  })
})
