import smpp, { type Pdu } from 'smpp'
import { type Listening, listenHere } from './listen-here.ts'
import type { Received } from './received.ts'

/** A short message centre on this machine that lets anybody in and sends nothing on. */
export function demoSmsReceiver(take: (received: Omit<Received, 'at'>) => void): Promise<Listening> {
  let count = 0
  return listenHere(
    smpp.createServer(session => {
      const answer = (pdu: Pdu) => session.send(pdu.response())
      session.on('error', () => session.destroy())
      session.on('bind_transceiver', answer)
      session.on('enquire_link', answer)
      session.on('unbind', (pdu: Pdu) => {
        answer(pdu)
        session.close()
      })
      session.on('submit_sm', (pdu: Pdu) => {
        count += 1
        const id = String(count)
        const { message = '' } = pdu.short_message ?? {}
        take({ how: 'sms', to: `+${pdu.destination_addr ?? ''}`, text: String(message), id })
        session.send(pdu.response({ message_id: id }))
      })
    }),
  )
}
