import { LINE_SCHEMAS, TRANSCRIPT_VERSION } from '../replay/transcript.ts'
import { keysTable } from './schema-table.ts'

/** What each kind of line is for, in the order they come in. */
const MEANS: Readonly<Record<keyof typeof LINE_SCHEMAS, string>> = {
  transcript: 'The first line.',
  edition:
    'What the steps that name it read beside their flow. It stands before the first case that needs it. People have no name and no address in it: only how many addresses each can be paged at.',
  flows: 'The sources of flows, where the file brings its own: it can then be replayed anywhere. May be left out.',
  case: 'Begins a case. Cases stand in ascending order of their names.',
  step: 'What happened, and what was decided of it. Steps of a case follow its line `case` without a gap.',
  sent: 'What became of a reply or page of the case, one line an address. They follow its steps.',
  end: 'The last line. A file without it was cut off.',
}

/** The reference page of the transcript's format, from its schemas. */
export function transcriptPage(): readonly string[] {
  return [
    '# The transcript',
    `Version ${TRANSCRIPT_VERSION}. What happened to cases and what the line decided, as JSON Lines: UTF-8, one object a line, each line ended by a line feed. Written by \`smallhours transcript export\`, read by \`replay\`, \`what-if\` and the review. How it is used: [replay.md](../clinic/replay.md). Events and effects: [events-and-effects.md](events-and-effects.md).`,
    'Instants are whole milliseconds since 1970-01-01T00:00:00Z. Hashes are SHA-256 in hexadecimal digits; of content they are over canonical JSON (keys of every map in order, nothing between).',
    'The chain: each line ends with `,"chain":"…"}`. It is the SHA-256 of the chain of the line before (64 zeros for the first), a line feed, and the line’s own text without that last key. It shows damage and careless changes. It is no signature: whoever may write the file can write a whole new chain. An incident bundle is signed.',
    'Taken out unless a purpose is named: the family’s words (`words`), names and spoken codes (`names`), telephone numbers (`numbers`), people’s ids, the clinic’s names. In their place stand names that are the same in every file of one clinic and can be made only with its key. Instants, concerns, answers from lists, times, ages and measures stay, since decisions rest on them. **That is still about a child.** It is less than a record and no open data.',
    ...Object.entries(LINE_SCHEMAS).flatMap(([kind, schema]) => [
      `## \`${kind}\``,
      MEANS[kind as keyof typeof LINE_SCHEMAS],
      keysTable(schema),
    ]),
  ]
}
