import { createHash } from 'node:crypto'
import { readFileSync } from 'node:fs'

/** A script that runs inside Redis: all of it, or nothing of it. */
export interface Script {
  readonly name: string
  readonly text: string
  /** Redis knows a script it has seen by this. */
  readonly sha1: string
}

const script = (name: string): Script => {
  const text = readFileSync(new URL(`./${name}.lua`, import.meta.url), 'utf8')
  return { name, text, sha1: createHash('sha1').update(text).digest('hex') }
}

/** What each does is said at its head. */
export const scripts = {
  commit: script('commit'),
  claim: script('claim'),
  rendered: script('rendered'),
  settle: script('settle'),
  release: script('release'),
  forget: script('forget'),
  heads: script('heads'),
  outbox: script('outbox'),
  inboxPut: script('inbox-put'),
  inboxDone: script('inbox-done'),
  chatOut: script('chat-out'),
  chatIn: script('chat-in'),
  own: script('own'),
  members: script('members'),
} as const
