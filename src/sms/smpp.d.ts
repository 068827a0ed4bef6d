/** What is used of the package `smpp`, which brings no types. */
declare module 'smpp' {
  import type { EventEmitter } from 'node:events'
  import type { Server as NetServer, Socket } from 'node:net'

  export interface Pdu {
    readonly command: string
    readonly command_status: number
    readonly sequence_number: number
    readonly esm_class?: number
    readonly source_addr?: string
    readonly source_addr_ton?: number
    readonly destination_addr?: string
    readonly data_coding?: number
    readonly short_message?: ShortMessage
    readonly message_payload?: ShortMessage
    readonly sar_msg_ref_num?: number
    readonly sar_total_segments?: number
    readonly sar_segment_seqnum?: number
    readonly system_id?: string
    readonly password?: string
    readonly message_id?: string
    readonly receipted_message_id?: string
    readonly message_state?: number
    readonly registered_delivery?: number
    isResponse(): boolean
    response(fields?: Readonly<Record<string, unknown>>): Pdu
  }

  export interface ShortMessage {
    readonly message?: string | Buffer
    readonly udh?: readonly Buffer[]
  }

  type Answered = (pdu: Pdu) => void
  type Fields = Readonly<Record<string, unknown>>

  export interface Session extends EventEmitter {
    readonly socket: Socket
    send(pdu: Pdu, answered?: Answered): boolean
    bind_transceiver(fields: Fields, answered: Answered): boolean
    submit_sm(fields: Fields, answered: Answered): boolean
    deliver_sm(fields: Fields, answered: Answered): boolean
    enquire_link(answered: Answered): boolean
    unbind(answered?: Answered): boolean
    close(closed?: () => void): void
    destroy(): void
  }

  const smpp: {
    connect(options: Readonly<Record<string, unknown>>): Session
    createServer(listener: (session: Session) => void): NetServer & { readonly sessions: readonly Session[] }
    readonly encodings: Readonly<
      Record<
        'ASCII' | 'UCS2',
        { encode(text: string): Buffer; decode(octets: Buffer): string; match(text: string): boolean }
      >
    >
  }
  export default smpp
}
