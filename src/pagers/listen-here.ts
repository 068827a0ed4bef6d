import { once } from 'node:events'
import type { AddressInfo, Server, Socket } from 'node:net'

export interface Listening {
  readonly port: number
  /** Ends every conversation and stops listening. */
  stop(): Promise<void>
}

/** Listens on a free port of 127.0.0.1, out of reach of any other machine. */
export async function listenHere(server: Server): Promise<Listening> {
  const open = new Set<Socket>()
  server.on('connection', (socket: Socket) => {
    open.add(socket)
    socket.on('close', () => open.delete(socket))
  })
  server.listen(0, '127.0.0.1')
  await once(server, 'listening')
  const { port } = server.address() as AddressInfo
  return {
    port,
    stop: async () => {
      const closed = once(server, 'close')
      server.close()
      for (const socket of open) socket.destroy()
      await closed
    },
  }
}
