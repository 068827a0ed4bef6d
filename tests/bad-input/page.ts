import type { BadInput, Row } from './trying.ts'

const HEAD = `# Bad inputs

What happens with input that no careful hand would send, and the very words the person then reads. Every row was sent through
the whole bot (the web, its port, understanding, flow, store, outbox); this page is printed by those tests
(\`tests/bad-input\`), which fail when it is no longer true.

What holds for every row: there is an answer, the emergency number and the clinic's number stand under it as links, no step
of the flow rests on what could not be read, and danger is looked for first. Each family of an example is new unless the row
says otherwise. Rows about transcripts are read by whoever answers for the line's quality; nothing of the line hangs on them. Rows about the clinic file, calendars and test call-outs are read by whoever keeps the rota: the check of the file prints them,
and \`serve\` and the console say the same. Times are those of a night in New York, at 2:10 in the morning. "asked:" is the question that stands open after it.

The classes are common practice, no source; the numbers are kept once given. B12 was sent by Telegram, through a Bot API on the same
machine. Secrets that stand open and marks of a demonstration in a real clinic (B29), and stores that cannot be trusted (B31), are refused at the start: [guards](../operating/guards.md),
each with its message, compared with what the process says. Cautions: [cautions.md](cautions.md).
`

/** The page, from what was sent and shown. */
export function badInputsPage(inputs: readonly BadInput[], rows: ReadonlyMap<string, readonly Row[]>): string {
  const parts = inputs.map(({ id, name, happens }) =>
    [
      `## ${id}: ${name}`,
      '',
      happens,
      '',
      '| where | sent | the person reads |',
      '|---|---|---|',
      ...(rows.get(id) ?? []).map(row => `| ${cell(row.where)} | ${cell(row.sent)} | ${cell(row.shown)} |`),
      '',
    ].join('\n'),
  )
  return `${HEAD}\n${parts.join('\n')}`
}

/** Text as a cell of a table: nothing in it is markup. */
function cell(text: string): string {
  return text
    .replace(/[\p{Cc}\p{Cf}\s]+/gu, ' ')
    .trim()
    .replace(/[\\|`*_<>[\]$~&]/g, sign => `\\${sign}`)
}
