import { connect, createServer, type Socket } from 'node:net'

/** Stands in front of a real Redis and answers in its place while it is told to: nothing is done then. */
export interface RefusingRedis {
  readonly port: number
  /** The error that every command is answered with from now on, as on the wire without its `-`; undefined: the real server answers. */
  saying: string | undefined
  /** Commands answered in its place. */
  readonly refused: number
  close(): Promise<void>
}

export async function refusingRedis(serverPort: number): Promise<RefusingRedis> {
  const open = new Set<Socket>()
  let saying: string | undefined
  let refused = 0
  const stand = createServer(client => {
    const server = connect({ host: '127.0.0.1', port: serverPort })
    let rest: Buffer = Buffer.alloc(0)
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
    server.on('data', data => client.write(data))
    client.on('data', data => {
      rest = Buffer.concat([rest, data])
      for (let length = commandLength(rest); length !== undefined; length = commandLength(rest)) {
        const command = rest.subarray(0, length)
        rest = rest.subarray(length)
        if (saying === undefined) server.write(command)
        else {
          refused += 1
          client.write(`-${saying}\r\n`)
        }
      }
    })
  })
  await new Promise<void>(resolve => stand.listen(0, '127.0.0.1', resolve))
  return {
    port: (stand.address() as { port: number }).port,
    get saying() {
      return saying
    },
    set saying(words) {
      saying = words
    },
    get refused() {
      return refused
    },
    async close() {
      for (const one of open) one.destroy()
      await new Promise(resolve => stand.close(resolve))
    },
  }
}

/** Bytes of the first whole command: an array of bulk strings (RESP2, redis.io/docs/reference/protocol-spec); undefined while it is not all there. */
function commandLength(bytes: Buffer): number | undefined {
  const lineEnd = bytes.indexOf('\r\n')
  if (lineEnd < 0) return undefined
  let at = lineEnd + 2
  for (let words = Number(bytes.subarray(1, lineEnd).toString()); words > 0; words -= 1) {
    const end = bytes.indexOf('\r\n', at)
    if (end < 0) return undefined
    at = end + 2 + Number(bytes.subarray(at + 1, end).toString()) + 2
    if (at > bytes.length) return undefined
  }
  return at
}
