import { smallhours } from '../support/smallhours.ts'

/**
 * What `smallhours talk --script` prints for one script, with what differs from run to run masked: the digits of the
 * case code and the token of a page's link. `complaints` is what it wrote beside: problems of the clinic's file, but for
 * texts that another language still lacks, which these conversations do not show.
 */
export async function printedConversation(
  script: string,
  clinic?: string,
): Promise<{ readonly printed: string; readonly complaints: string }> {
  const extra = clinic === undefined ? [] : ['--clinic', clinic]
  const { code, out, err } = await smallhours('talk', '--script', script, ...extra)
  if (code !== 0) throw new Error(`talk --script ${script} ended with ${code}: ${err}`)
  const others = err.split('\n').filter(line => !/LANGUAGE_MISSING|^0 to mend, \d+ to look at$/.test(line))
  return { printed: masked(out), complaints: others.join('\n') }
}

export function masked(printed: string): string {
  return printed.replace(/\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4}\b/g, '$1 0000').replace(/\/p\/[\w-]{20,}/g, '/p/LINK')
}
