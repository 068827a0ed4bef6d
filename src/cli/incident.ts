import { existsSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { writeWhole } from '../config/clinic-save.ts'
import { readClinicKeys } from '../store/clinic-keys.ts'
import { instant } from '../time/instant.ts'
import { approvalsIn, approvedContent } from './approvals-folder.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { dataFiles } from './data-folder.ts'
import type { FlowsKept } from './edition-archive.ts'
import { flowsFrom, hashesOf } from './flow-shelf.ts'
import { walkInProcess } from './flow-verdict.ts'
import { type CheckerResult, checkerResult } from './incident-check.ts'
import { type Bundle, type Lock, openIncident, sealIncident, signingKey, verifyIncident } from './incident-seal.ts'
import { DEMO_CLINIC } from './load-line.ts'
import { toBeWritten } from './places-said.ts'
import { SOFTWARE } from './software.ts'
import { withExportPorts } from './transcript.ts'
import { type ExportPorts, exportTranscript } from './transcript-export.ts'

export const incidentCommand: Command = {
  name: 'incident',
  summary:
    'everything a safety investigation of one case needs, in one sealed and signed file; "incident open", "incident verify"',
  usage: [
    'smallhours incident CASE --out FILE --purpose TEXT [--passphrase-file FILE] [--clinic FOLDER] [--data FOLDER]',
    '                        [--without-check]',
    '    CASE is its code or id. Sealed with the passphrase, or with the clinic’s newest key. Nothing is taken out of it.',
    '    The checker walks the flow it was opened under, which takes minutes; --without-check leaves that for later.',
    'smallhours incident open FILE --into FOLDER [--passphrase-file FILE] [--data FOLDER]',
    'smallhours incident verify FILE [--signer FINGERPRINT]',
    '    0: it is as it was signed (and by whom was named); 1: it is not.',
    'each with [--json]',
  ].join('\n'),
  async run(args) {
    const { values, positionals } = argumentsOf(args, {
      clinic: { type: 'string', default: DEMO_CLINIC },
      data: { type: 'string', default: join(process.cwd(), '.smallhours') },
      out: { type: 'string' },
      into: { type: 'string' },
      purpose: { type: 'string' },
      'passphrase-file': { type: 'string' },
      signer: { type: 'string' },
      'without-check': { type: 'boolean', default: false },
      json: { type: 'boolean', default: false },
    })
    const [first, second, ...more] = positionals
    if (first === undefined || more.length > 0)
      throw new CalledWrongly('a case, or "open" or "verify" and a file, was expected')
    const say = (text: string, json: object) => print(values.json ? JSON.stringify(json) : text)
    if (first === 'verify') return verify(fileSaid(second), values.signer, say)
    const lock = lockSaid(values['passphrase-file'], values.data)
    if (first === 'open') return open(fileSaid(second), values.into, lock, say)
    const { out, purpose } = values
    if (out === undefined || purpose === undefined)
      throw new CalledWrongly('--out FILE and --purpose TEXT were expected: what it is for stands in the audit trail')
    toBeWritten(out)
    return gather(
      {
        which: first,
        out,
        purpose,
        clinicDir: values.clinic,
        dataDir: values.data,
        lock,
        isChecked: !values['without-check'],
      },
      say,
    )
  },
}

type Say = (text: string, json: object) => void

function fileSaid(file: string | undefined): string {
  if (file === undefined || !existsSync(file) || !statSync(file).isFile())
    throw new CalledWrongly(file === undefined ? 'an incident bundle was expected' : `${file}: there is no such file`)
  return file
}

/** A passphrase is read from a file: on a command line others on the machine could read it. */
function lockSaid(passphraseFile: string | undefined, data: string): Lock {
  if (passphraseFile !== undefined) {
    if (!existsSync(passphraseFile))
      throw new CalledWrongly(`--passphrase-file ${passphraseFile}: there is no such file`)
    const passphrase = readFileSync(passphraseFile, 'utf8').replace(/\r?\n$/, '')
    if (passphrase.length < PASSPHRASE_LEAST)
      throw new CalledWrongly(
        `the passphrase has ${passphrase.length} characters: at least ${PASSPHRASE_LEAST} were expected`,
      )
    return { kind: 'passphrase', passphrase }
  }
  return { kind: 'clinic-key', keys: () => readClinicKeys(dataFiles(data).clinicKeysFile, 'refused') }
}

const PASSPHRASE_LEAST = 14

interface Wish {
  readonly which: string
  readonly out: string
  readonly purpose: string
  readonly clinicDir: string
  readonly dataDir: string
  readonly lock: Lock
  /** The checker walks the flow; else the bundle says that it did not. */
  readonly isChecked: boolean
}

async function gather(wish: Wish, say: Say): Promise<number> {
  const { which, out, purpose, clinicDir, dataDir, lock } = wish
  const kept = ['words', 'names', 'numbers'] as const
  const noted = {
    did: 'incident-gathered',
    on: 'one case',
    after: `everything, for: ${purpose.slice(0, 150)}`,
  } as const
  const bundle = await withExportPorts({ clinicDir, dataDir, kept }, noted, ports => bundleOf(ports, wish))
  if (bundle === undefined) return 1
  if (bundle === 'no-such-case') {
    complain(`incident: there is no case "${which}", or it cannot be read`)
    return 1
  }
  const signing = signingKey(join(dataDir, 'incident-signing-key.pem'))
  writeWhole(out, sealIncident(bundle, lock, signing), 0o600)
  const { fingerprint } = signing
  say(
    `${out}: sealed with ${lock.kind === 'passphrase' ? 'the passphrase' : 'the clinic’s key'} and signed.\nWho signed, to be noted elsewhere: ${fingerprint}`,
    { file: out, signer: fingerprint },
  )
  return 0
}

async function bundleOf(
  ports: ExportPorts,
  { which, purpose, clinicDir, dataDir, isChecked }: Wish,
): Promise<Bundle | 'no-such-case'> {
  const file = join(dataDir, `incident-${process.pid}.jsonl`)
  try {
    const done = await exportTranscript(ports, {
      ...{ file, kept: ['words', 'names', 'numbers'], purpose, withFlows: true, anew: true, cases: [which] },
      ...{ from: instant(0), until: instant(8.64e15), progress: () => {} },
    })
    if (done.cases !== 1) return 'no-such-case'
    const transcript = readFileSync(file, 'utf8')
    const lines = transcript
      .trimEnd()
      .split('\n')
      .map(line => JSON.parse(line) as Record<string, unknown>)
    const head = lines.find(({ kind }) => kind === 'case')
    const flow = typeof head?.flow === 'string' ? head.flow : undefined
    const concern = String(head?.concern ?? '')
    return {
      version: 1,
      madeAt: ports.now,
      software: SOFTWARE,
      purpose,
      case: String(head?.case ?? ''),
      concern,
      flow: {
        hash: flow ?? null,
        approvedContent: flow === undefined ? null : (approvedContent(clinicDir, flow) ?? null),
      },
      approvals: approvalsIn(clinicDir).filter(({ part }) =>
        [concern, 'settings', 'screens', 'lexicon'].includes(part),
      ),
      pages: lines.filter(({ kind, lane }) => kind === 'sent' && lane === 'page'),
      replay: 'run "smallhours replay transcript.jsonl": the flow it was opened under is in it',
      check: await checkOf(lines, { concern, flow, clinicDir, isChecked }),
      transcript,
    }
  } finally {
    rmSync(file, { force: true })
    rmSync(`${file}.part`, { force: true })
  }
}

/** The flow the case was opened under, walked by the checker as it is today. */
async function checkOf(
  lines: readonly Readonly<Record<string, unknown>>[],
  {
    concern,
    flow,
    clinicDir,
    isChecked,
  }: Pick<Wish, 'clinicDir' | 'isChecked'> & { concern: string; flow: string | undefined },
): Promise<CheckerResult> {
  if (!isChecked)
    return { kind: 'not-walked', why: 'it was left for later: run "smallhours check" on the flows of the transcript' }
  const kept = lines.filter(({ kind }) => kind === 'flows').map(({ content }) => content as FlowsKept)
  const own = flow === undefined ? undefined : kept.find(one => hashIn(one, concern) === flow)
  if (flow === undefined || own === undefined)
    return { kind: 'not-walked', why: 'the flow it was opened under is not at hand any more' }
  complain('incident: the checker walks the flow; this takes minutes')
  return checkerResult({
    concern,
    flow,
    kept: own,
    clinicDir,
    walker: flowsDir => walkInProcess({ clinicDir, flowsDir }),
  })
}

function hashIn(kept: FlowsKept, concern: string): string | undefined {
  const read = flowsFrom(kept)
  return 'wrong' in read ? undefined : hashesOf(read.set, kept.drawings).get(concern)
}

function open(file: string, into: string | undefined, lock: Lock, say: Say): number {
  if (into === undefined) throw new CalledWrongly('--into FOLDER was expected: where its parts are written')
  const opened = openIncident(readFileSync(file, 'utf8'), lock)
  if ('fault' in opened) {
    complain(`incident: ${file}: ${opened.fault}`)
    return 1
  }
  // Names are ours, never the file's.
  const parts = {
    'incident.json': JSON.stringify({ ...opened.bundle, transcript: 'transcript.jsonl' }, null, 1),
    'transcript.jsonl': opened.bundle.transcript,
  }
  const there = Object.keys(parts).find(name => existsSync(join(into, name)))
  if (there !== undefined) throw new CalledWrongly(`${join(into, there)} is there already: name another folder`)
  mkdirSync(into, { recursive: true, mode: 0o700 })
  for (const [name, text] of Object.entries(parts)) writeFileSync(join(into, name), text, { mode: 0o600, flag: 'wx' })
  say(`Written into ${into}: ${Object.keys(parts).join(', ')}. It is about a child: keep it as you keep records.`, {
    into,
    files: Object.keys(parts),
    signer: opened.signer,
  })
  return 0
}

function verify(file: string, signer: string | undefined, say: Say): number {
  const verified = verifyIncident(readFileSync(file, 'utf8'))
  if ('fault' in verified) {
    complain(`incident: ${file}: ${verified.fault}`)
    return 1
  }
  if (signer !== undefined && signer !== verified.signer) {
    complain(`incident: ${file}: signed by ${verified.signer}, and ${signer} was expected`)
    return 1
  }
  const whose =
    signer === undefined ? ' Whether that is the clinic tells only a fingerprint noted elsewhere: --signer.' : ''
  say(`${file} is as it was signed, by ${verified.signer}.${whose}`, {
    file,
    signer: verified.signer,
    isNamed: signer !== undefined,
  })
  return 0
}
