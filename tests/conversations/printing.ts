import { spawn } from 'node:child_process'
import { join } from 'node:path'
import { root } from '../whole/process.ts'

/**
 * What `smallhours talk --script` prints for one script, with what differs from run to run masked: the digits of the
 * case code and the token of a page's link. `complaints` is what it wrote beside: problems of the clinic's file, but for
 * texts that another language still lacks, which these conversations do not show.
 */
export async function printedConversation(
  script: string,
  clinic?: string,
): Promise<{ readonly printed: string; readonly complaints: string }> {
  const node = join(root, 'node_modules/.bin/node')
  const extra = clinic === undefined ? [] : ['--clinic', clinic]
  const child = spawn(node, ['src/cli/main.ts', 'talk', '--script', script, ...extra], {
    cwd: root,
    stdio: ['ignore', 'pipe', 'pipe'],
  })
  let printed = ''
  let complaints = ''
  child.stdout.setEncoding('utf8').on('data', text => (printed += text))
  child.stderr.setEncoding('utf8').on('data', text => (complaints += text))
  const code = await new Promise<number | null>(resolve => child.once('close', resolve))
  if (code !== 0) throw new Error(`talk --script ${script} ended with ${code}: ${complaints}`)
  const others = complaints.split('\n').filter(line => !/LANGUAGE_MISSING|^0 to mend, \d+ to look at$/.test(line))
  return { printed: masked(printed), complaints: others.join('\n') }
}

export function masked(printed: string): string {
  return printed.replace(/\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4}\b/g, '$1 0000').replace(/\/p\/[\w-]{20,}/g, '/p/LINK')
}
