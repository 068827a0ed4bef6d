/** What is not the same in two contents, one line of it at a time: for whoever approved the one and is asked for the other. */
export interface ContentChange {
  /** `wording.en.say/keep-tube`; a list counts as one value. */
  readonly path: string
  /** Undefined where it is new. */
  readonly before?: string
  /** Undefined where it is gone. */
  readonly after?: string
}

/** Changes from one content to another, in the order of their paths. Both as parsed canonical text. */
export function contentChanges(before: unknown, after: unknown): readonly ContentChange[] {
  const old = leaves(before)
  const now = leaves(after)
  const paths = [...new Set([...old.keys(), ...now.keys()])].toSorted()
  return paths.flatMap(path => {
    const was = old.get(path)
    const is = now.get(path)
    if (was === is) return []
    return [{ path, ...(was === undefined ? {} : { before: was }), ...(is === undefined ? {} : { after: is }) }]
  })
}

/** `+ path: new`, `- path: old`, or both values of what was changed, one a line. */
export function changeText({ path, before, after }: ContentChange): string {
  if (before === undefined) return `+ ${path}: ${after}`
  if (after === undefined) return `- ${path}: ${before}`
  return `~ ${path}\n    was: ${before}\n    is:  ${after}`
}

function leaves(value: unknown, path = '', found = new Map<string, string>()): Map<string, string> {
  if (value !== null && typeof value === 'object' && !Array.isArray(value)) {
    for (const [key, inner] of Object.entries(value)) leaves(inner, path === '' ? key : `${path}.${key}`, found)
  } else if (value !== undefined) found.set(path, typeof value === 'string' ? value : JSON.stringify(value))
  return found
}
