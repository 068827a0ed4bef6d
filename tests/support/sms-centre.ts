import { once } from 'node:events'
import type { AddressInfo } from 'node:net'
import smpp, { type Pdu, type Session } from 'smpp'

/** A short message centre of the package `smpp`, on 127.0.0.1, that does what a test says. */
export interface TestCentre {
  readonly port: number
  /** What was submitted, oldest first. */
  readonly submitted: Pdu[]
  /** What was delivered to the bot, with the status it answered. */
  readonly answered: number[]
  /** The connections that were let in. */
  readonly bound: Session[]
  /** Tells that what was sent to a number as its last did, or did not, get to the telephone. */
  receipt(to: string, stat: 'DELIVRD' | 'UNDELIV'): Promise<number>
  /** Delivers to the bot, and resolves with the status that it answers. */
  deliver(from: string, message: unknown, more?: Readonly<Record<string, unknown>>): Promise<number>
  stop(): Promise<void>
}

export async function testCentre(
  onSubmit: (pdu: Pdu, session: Session, count: number) => void = (pdu, session, count) =>
    session.send(pdu.response({ message_id: `m${count}` })),
  mayBind: (pdu: Pdu) => boolean = () => true,
): Promise<TestCentre> {
  const submitted: Pdu[] = []
  const answered: number[] = []
  const bound: Session[] = []
  const server = smpp.createServer(session => {
    session.on('error', () => session.destroy())
    session.on('bind_transceiver', (pdu: Pdu) => {
      const may = mayBind(pdu)
      session.send(pdu.response({ command_status: may ? 0 : 0x0e }))
      if (may) bound.push(session)
    })
    session.on('enquire_link', (pdu: Pdu) => session.send(pdu.response()))
    session.on('unbind', (pdu: Pdu) => {
      session.send(pdu.response())
      session.close()
    })
    session.on('submit_sm', (pdu: Pdu) => {
      submitted.push(pdu)
      onSubmit(pdu, session, submitted.length)
    })
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  const deliver: TestCentre['deliver'] = (from, message, more = {}) =>
    new Promise(resolve => {
      const address = { source_addr: from.replace('+', ''), source_addr_ton: 1, destination_addr: '12125550100' }
      bound.at(-1)?.deliver_sm({ ...address, short_message: message, ...more }, ({ command_status: status }) => {
        answered.push(status)
        resolve(status)
      })
    })
  return {
    port: (server.address() as AddressInfo).port,
    ...{ submitted, answered, bound, deliver },
    receipt: (to, stat) => {
      const index = submitted.findLastIndex(pdu => `+${pdu.destination_addr}` === to)
      return deliver(to, `id:m${index + 1} stat:${stat} err:000`, { esm_class: 0x04 })
    },
    async stop() {
      const closed = new Promise(resolve => server.close(resolve))
      for (const session of server.sessions) session.destroy()
      await closed
    },
  }
}

/** The words of submitted parts, put together as a telephone would. */
export const textOf = (parts: readonly Pdu[]): string =>
  parts.map(({ short_message: short }) => String(short?.message ?? '')).join('')
