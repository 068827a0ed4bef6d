import { existsSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { AccountStore } from '../accounts/account-store.ts'
import { type AuditFault, type AuditHead, type AuditLine, auditFaults } from '../accounts/audit.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { openAccountFile } from '../store/sqlite/account-file.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { dataFiles } from './data-folder.ts'

export const auditCommand: Command = {
  name: 'audit',
  summary:
    'who did what at the clinic\'s side: "audit verify" finds every line that is not as it was written, "audit export"',
  usage: [
    'smallhours audit verify [FILE] [--head LINE:HASH]  every line that was changed, taken out, moved or cut off, by its number',
    'smallhours audit export [--from LINE]              the trail, a line each; with --json as JSON lines, which verify reads',
    'each with [--data FOLDER] [--json]; --head is the end as it was noted elsewhere',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      head: { type: 'string' },
      from: { type: 'string', default: '1' },
      json: { type: 'boolean', default: false },
    })
    if (!/^[1-9]\d{0,11}$/.test(values.from))
      throw new CalledWrongly(`--from ${values.from}: the number of a line was expected`)
    const [name, file, ...more] = positionals
    if (more.length > 0 || (name === 'export' && file !== undefined)) throw new CalledWrongly('too many words')
    const head = values.head === undefined ? undefined : headSaid(values.head)
    if (name === 'verify' && file !== undefined) return verifyFile(file, head, values.json)
    if (name !== 'verify' && name !== 'export') throw new CalledWrongly('"verify" or "export" was expected')
    const { accountsFile } = dataFiles(values.data)
    if (!existsSync(accountsFile))
      throw new CalledWrongly(`--data ${values.data}: there is no audit trail; the data folder of the bot was expected`)
    const store = openAccountFile(accountsFile)
    try {
      return name === 'export'
        ? await exported(store, values.from, values.json)
        : await verify(store, head, values.json)
    } finally {
      await store.close()
    }
  },
}

function headSaid(said: string): AuditHead {
  const read = /^(\d{1,12}):([0-9a-f]{64})$/.exec(said)
  if (read === null)
    throw new CalledWrongly(`--head ${said}: a line and its hash were expected, as "audit verify" prints them`)
  return { line: Number(read[1]), hash: read[2] ?? '' }
}

async function verify(store: AccountStore, noted: AuditHead | undefined, isJson: boolean): Promise<number> {
  const lines = await store.audit()
  const faults = [...auditFaults(lines, await store.auditHead()), ...notedFaults(lines, noted)]
  return tell(lines, faults, isJson)
}

/** Whether the line that was noted elsewhere is still there as it was. */
function notedFaults(lines: readonly unknown[], noted: AuditHead | undefined): readonly AuditFault[] {
  if (noted === undefined) return []
  const there = lines.map(one => one as Partial<AuditLine> | undefined).find(one => one?.line === noted.line)
  if (there?.hash === noted.hash) return []
  const found =
    there === undefined
      ? `line ${noted.line}, which was noted elsewhere, is missing`
      : `line ${noted.line} is another than the one that was noted elsewhere: the trail was written anew`
  return [{ place: noted.line, kind: there === undefined ? 'missing' : 'rewritten', found }]
}

function verifyFile(file: string, noted: AuditHead | undefined, isJson: boolean): number {
  if (!existsSync(file)) throw new CalledWrongly(`${file}: there is no such file`)
  const texts = readFileSync(file, 'utf8').split('\n')
  if (texts.at(-1) === '') texts.pop()
  const lines = texts.map(parsed)
  return tell(lines, [...auditFaults(lines), ...notedFaults(lines, noted)], isJson)
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}

function tell(lines: readonly unknown[], faults: readonly AuditFault[], isJson: boolean): number {
  const last = lines.at(-1) as Partial<AuditLine> | undefined
  const head = last?.line === undefined ? undefined : `${last.line}:${last.hash}`
  if (isJson) print(JSON.stringify({ lines: lines.length, faults, head: head ?? null }))
  else if (faults.length === 0) {
    print(`${lines.length} lines, each as it was written.`)
    if (head !== undefined) print(`The end, to be noted elsewhere: ${head}`)
  } else for (const { found } of faults) complain(`audit: ${found}`)
  return faults.length === 0 ? 0 : 1
}

async function exported(store: AccountStore, from: string, isJson: boolean): Promise<number> {
  const act = { at: systemClock().now(), who: 'machine', did: 'audit-exported', on: `from ${from}` } as const
  await store.change(act, [])
  for (const line of await store.audit(Number(from))) print(isJson ? JSON.stringify(line) : lineText(line))
  return 0
}

function lineText({ line, at, who, did, on, before, after }: AuditLine): string {
  const change = before === undefined && after === undefined ? '' : ` (${before ?? 'nothing'} > ${after ?? 'nothing'})`
  return `${line} ${new Date(at).toISOString()} ${who} ${did} ${on}${change}`
}
