import { createServer } from 'node:net'

/** Below the ports that systems give to connections of their own (RFC 6335: 49152 on; Linux: 32768 on): nobody is given it between two lives. */
const [FIRST, LAST] = [20_000, 31_999]

/** A port of this machine that nobody listens on. A process that is killed comes back on it, as behind a clinic's proxy. */
export async function freePort(): Promise<number> {
  for (;;) {
    const port = FIRST + Math.floor(Math.random() * (LAST - FIRST + 1))
    if (await isFree(port)) return port
  }
}

function isFree(port: number): Promise<boolean> {
  const server = createServer()
  return new Promise(resolve => {
    server.once('error', () => resolve(false))
    server.listen(port, '127.0.0.1', () => server.close(() => resolve(true)))
  })
}
