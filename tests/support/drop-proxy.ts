import { connect, createServer, type Socket } from 'node:net'

/** What the proxy does with the answers that come back. */
export type Dropping =
  /** Hands everything on. */
  | 'nothing'
  /** Swallows the answer and breaks the connection: the command is done, its caller hears nothing. */
  | 'answer-and-line'
  /** Swallows the answer and keeps the line open: the caller waits for ever. */
  | 'answer'

export interface DropProxy {
  readonly port: number
  /** Asked for every piece of answer. */
  drop: (answered: number) => Dropping
  /** Answers swallowed so far. */
  readonly dropped: number
  close(): Promise<void>
}

/** Stands between the bot and a server on this machine, and loses answers, never commands. */
export async function dropProxy(serverPort: number): Promise<DropProxy> {
  const open = new Set<Socket>()
  let answered = 0
  let dropped = 0
  let drop: DropProxy['drop'] = () => 'nothing'
  const proxy = createServer(client => {
    const server = connect({ host: '127.0.0.1', port: serverPort })
    let isDeaf = false
    const end = () => {
      client.destroy()
      server.destroy()
      open.delete(client)
      open.delete(server)
    }
    for (const one of [client, server]) {
      open.add(one)
      one.setNoDelay(true)
      one.on('error', end)
      one.on('close', end)
    }
    client.on('data', data => server.write(data))
    server.on('data', data => {
      answered += 1
      const how = isDeaf ? 'answer' : drop(answered)
      if (how === 'nothing') {
        client.write(data)
        return
      }
      dropped += 1
      if (how === 'answer') isDeaf = true
      else end()
    })
  })
  await new Promise<void>(resolve => proxy.listen(0, '127.0.0.1', resolve))
  return {
    port: (proxy.address() as { port: number }).port,
    get drop() {
      return drop
    },
    set drop(how) {
      drop = how
    },
    get dropped() {
      return dropped
    },
    async close() {
      for (const one of open) one.destroy()
      await new Promise(resolve => proxy.close(resolve))
    },
  }
}
