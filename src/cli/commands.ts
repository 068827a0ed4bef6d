import { CalledWrongly, type Command, complain, print } from './command.ts'

/** Each command is read only when it is called: `talk` need not load what `serve` needs. */
const COMMANDS: Readonly<Record<string, () => Promise<Command>>> = {
  serve: async () => (await import('./serve.ts')).serveCommand,
  talk: async () => (await import('./talk.ts')).talkCommand,
  vignettes: async () => (await import('./vignettes.ts')).vignettesCommand,
  understand: async () => (await import('./understand.ts')).understandCommand,
  check: async () => (await import('./check.ts')).checkCommand,
  draw: async () => (await import('./draw.ts')).drawCommand,
  referee: async () => (await import('./referee.ts')).refereeCommand,
  ready: async () => (await import('./ready.ts')).readyCommand,
  approve: async () => (await import('./approve.ts')).approveCommand,
  clinic: async () => (await import('./clinic.ts')).clinicCommand,
  rota: async () => (await import('./rota.ts')).rotaCommand,
  callout: async () => (await import('./callout.ts')).calloutCommand,
  people: async () => (await import('./people.ts')).peopleCommand,
  rollback: async () => (await import('./rollback.ts')).rollbackCommand,
  audit: async () => (await import('./audit.ts')).auditCommand,
  backup: async () => (await import('./backup.ts')).backupCommand,
  restore: async () => (await import('./backup.ts')).restoreCommand,
  move: async () => (await import('./backup.ts')).moveCommand,
  records: async () => (await import('./records.ts')).recordsCommand,
  transcript: async () => (await import('./transcript.ts')).transcriptCommand,
  replay: async () => (await import('./replay.ts')).replayCommand,
  year: async () => (await import('./year.ts')).yearCommand,
  review: async () => (await import('./review.ts')).reviewCommand,
  figures: async () => (await import('./figures.ts')).figuresCommand,
  'what-if': async () => (await import('./what-if.ts')).whatIfCommand,
  export: async () => (await import('./export.ts')).exportCommand,
  incident: async () => (await import('./incident.ts')).incidentCommand,
  docs: async () => (await import('./docs.ts')).docsCommand,
  measure: async () => (await import('./measure.ts')).measureCommand,
}

/** Errors of a data folder or an output, whose messages say what to do: a stack would only hide it. */
const SAYS_WHAT_TO_DO = new Set([
  'StoreUnusable',
  'ClinicKeysUnusable',
  'DataFolderUnusable',
  'RedisSilent',
  'RedisRefuses',
  'OutputUnusable',
])

const WHY_UNUSABLE: Readonly<Record<string, string>> = {
  ENOENT: 'there is no such file or folder',
  EACCES: 'whoever runs this may not read or write it',
  EPERM: 'whoever runs this may not read or write it',
  EROFS: 'the disk can only be read',
  EISDIR: 'a folder, where a file was expected',
  ENOTDIR: 'a file stands where a folder was expected',
}

/** What is wrong with a file or folder that was named; undefined where the error is of another kind. */
function unusablePath(error: unknown): string | undefined {
  if (!(error instanceof Error)) return undefined
  const { code = '', path } = error as NodeJS.ErrnoException
  if (code === 'ENOSPC') return 'the disk is full'
  const why = Object.hasOwn(WHY_UNUSABLE, code) ? WHY_UNUSABLE[code] : undefined
  return path === undefined || why === undefined ? undefined : `${path}: ${why}`
}

/** Runs the command that `argv` names; what it prints goes out at once, and the answer is the exit code. */
export async function runCommand(argv: readonly string[]): Promise<number> {
  const [name, ...rest] = argv
  if (name === undefined || name === 'help' || name === '--help') {
    await listCommands()
    return name === undefined ? 2 : 0
  }
  const load = Object.hasOwn(COMMANDS, name) ? COMMANDS[name] : undefined
  if (load === undefined) {
    complain(`smallhours: there is no command "${name}"; the commands are ${Object.keys(COMMANDS).join(', ')}`)
    return 2
  }
  const command = await load()
  if (rest.includes('--help')) {
    print(command.usage)
    return 0
  }
  try {
    return await command.run(rest)
  } catch (error) {
    if (error instanceof Error && SAYS_WHAT_TO_DO.has(error.name)) {
      complain(`smallhours ${name}: ${error.name}: ${error.message}`)
      return 1
    }
    const unusable = unusablePath(error)
    if (unusable !== undefined) {
      complain(`smallhours ${name}: ${unusable}`)
      return 1
    }
    if (!(error instanceof CalledWrongly)) throw error
    complain(`smallhours ${name}: ${error.message}\n${command.usage}`)
    return 2
  }
}

async function listCommands(): Promise<void> {
  print('smallhours COMMAND – what each does; add --help for how it is called')
  for (const load of Object.values(COMMANDS)) {
    const { name, summary } = await load()
    print(`  ${name.padEnd(10)} ${summary}`)
  }
}
