import { vi } from 'vitest'
import { runCommand } from '../../src/cli/commands.ts'
import type { Ended } from './clone.ts'

let before: Promise<unknown> = Promise.resolve()

/** Runs a command of `smallhours` in this process, after those that were called before, and answers with what it printed. */
export function smallhours(...words: readonly string[]): Promise<Ended> {
  const ended = before.then(() => printing(words))
  before = ended.catch(() => {})
  return ended
}

async function printing(words: readonly string[]): Promise<Ended> {
  const printed = { out: '', err: '' }
  const keep = (stream: NodeJS.WriteStream, name: 'out' | 'err') =>
    vi.spyOn(stream, 'write').mockImplementation(text => {
      printed[name] += text
      return true
    })
  const spies = [keep(process.stdout, 'out'), keep(process.stderr, 'err')]
  try {
    return { code: await runCommand(words), ...printed }
  } finally {
    for (const spy of spies) spy.mockRestore()
  }
}
