import type { ChatRef, Incoming, Outgoing, Question } from '../../case/message.ts'
import type { Centre } from '../../sms/centre.ts'
import type { Instant } from '../../time/instant.ts'
import type { Channel } from '../channel.ts'
import { type LinesFrame, numbersLine, partLines } from '../text-lines.ts'
import { plainText } from '../text-plain.ts'
import { tapped } from '../text-taps.ts'

/** Everything the text messages of families need from the rest of the bot. */
export interface SmsChannelPorts {
  readonly centre: Pick<Centre, 'send'>
  receive(incoming: Incoming): Promise<void>
  /** The question that is open in a chat; undefined where none is. */
  openQuestion(chat: ChatRef): Promise<Question | undefined>
  /** What stands around the replies, in the language of a case; left out: in the first one. */
  spoken(language?: string): Pick<LinesFrame, 'wording' | 'foot'>
  readonly clinicName: () => string
  now(): Instant
  randomId(): string
}

export type SmsChannel = Channel & {
  /** Takes a message that came from a number in E.164; resolves once it is kept. */
  take(from: string, text: string): Promise<void>
}

export const SMS_CHANNEL = 'sms'

/**
 * Families by text message: the chat is the telephone's number. A number typed alone is a tap on the open question, as the
 * reply shows it; anything else is the family's own words.
 */
export function smsChannel(ports: SmsChannelPorts): SmsChannel {
  return {
    id: SMS_CHANNEL,
    start: async () => undefined,
    stop: async () => undefined,
    async take(from, text) {
      const ref = { channel: SMS_CHANNEL, chat: from }
      const body = await bodyOf(ports, ref, text)
      await ports.receive({ ...ref, deliveryId: ports.randomId(), at: ports.now(), body })
    },
    async deliver(outgoing) {
      const sent = await ports.centre.send(outgoing.chat, textOf(ports, outgoing))
      return sent.kind === 'accepted' ? { kind: 'delivered' } : sent
    },
  }
}

/** A message without words may be a picture that the telephone company did not pass on. */
async function bodyOf(ports: SmsChannelPorts, ref: ChatRef, text: string): Promise<Incoming['body']> {
  if (text.trim() === '') return { kind: 'media', media: 'message' }
  const mayBeTap = /^[\s#\d,.)]+$/.test(text)
  const question = mayBeTap ? await ports.openQuestion(ref) : undefined
  const values = question === undefined ? undefined : tapped(text.replace(/[\s.)]+$/, '').trim(), question)
  if (question === undefined || values === undefined) return { kind: 'text', text }
  return { kind: 'choice', serial: question.serial, values }
}

function textOf(ports: SmsChannelPorts, outgoing: Outgoing): string {
  const { wording, foot } = ports.spoken(outgoing.language)
  const person = outgoing.parts.find(part => part.kind === 'person')
  const who =
    person === undefined
      ? []
      : [`${plainText(wording('speaker-clinician', { clinician: person.name, clinicianRole: person.role }))}:`]
  const lines = partLines(outgoing.parts, { wording }).map(line => line.trim())
  return [
    ...(outgoing.repeated ? [`(${wording('terminal-repeated')})`] : []),
    ...who,
    ...lines,
    ...(isFirst(outgoing) ? ['', wording('sms-first', { clinicName: ports.clinicName() })] : []),
    '',
    numbersLine(foot),
  ]
    .join('\n')
    .replaceAll(/\n{3,}/g, '\n\n')
    .trim()
}

/** Whether it answers the first message of its case. */
const isFirst = ({ caseId, effectId }: Outgoing): boolean => effectId.startsWith(`${caseId}.1.`)
