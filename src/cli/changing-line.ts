/** The clinic's folder may be changed while the line runs: what is on disk takes effect, or is told with what is wrong. */
import { readdirSync, statSync } from 'node:fs'
import { basename, join } from 'node:path'
import type { LoadedClinic } from '../config/clinic-file.ts'
import type { Refusal } from '../config/guard.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Log } from '../runtime/log.ts'
import { sha256 } from '../runtime/system-clock.ts'
import { type Instant, seconds } from '../time/instant.ts'
import { decidingSettings } from './approvable.ts'
import { type Guarded, refusedIn } from './guards.ts'
import type { LoadedLine } from './load-line.ts'

/** How often the folder is looked at. */
const LOOK_EVERY_MS = seconds(1)

/** What lies on disk and is not served, and why. The line goes on with what it had. */
export interface NotTaken {
  readonly since: Instant
  readonly refusals: readonly Refusal[]
  /** Only flows, words or settings that decide stand in the way: who is on call, numbers and hours count as the file has them. */
  readonly isClinicTaken: boolean
}

export interface ChangingLine {
  /** What is served now. */
  current(): LoadedLine
  /** What is wrong with the clinic's files as they lie on disk; undefined while they are what is served. */
  notTaken(): NotTaken | undefined
  /**
   * Reads the folder anew and takes it where nothing stands in the way; what stands in the way otherwise.
   * @param who  the person who changed it on a page; left out: it was changed on disk
   */
  look(who?: string): NotTaken | undefined
  /** Called after each taking, before anything else is served. */
  onTaken(listener: (loaded: LoadedLine, who?: string) => void): void
  /** Looks again and again from now on. */
  start(): void
  stop(): void
}

export interface ChangingLineOptions {
  readonly clinicDir: string
  readonly loaded: LoadedLine
  /** Reads everything and asks all guards. May throw. */
  readonly read: () => Guarded
  readonly clock: Clock
  readonly log: Log
}

/** A line that nobody changes: for a night that is played through. */
export function standingLine(loaded: LoadedLine): ChangingLine {
  const nothing = () => undefined
  return { current: () => loaded, notTaken: nothing, look: nothing, onTaken: nothing, start: nothing, stop: nothing }
}

export function changingLine(options: ChangingLineOptions): ChangingLine {
  const { clinicDir, clock, log } = options
  const listeners: ((loaded: LoadedLine, who?: string) => void)[] = []
  let current = options.loaded
  let notTaken: NotTaken | undefined
  let seen = marksIn(clinicDir)
  let settled = seen
  let cancel = () => {}

  function look(who?: string): NotTaken | undefined {
    seen = settled = marksIn(clinicDir)
    const { loaded, refusals } = readNow()
    if (loaded !== undefined) {
      current = loaded
      for (const listener of listeners) listener(loaded, who)
      log({ what: 'clinic-file-taken' })
    }
    if (loaded === undefined || refusals.length > 0) {
      const isClinicTaken = loaded !== undefined
      notTaken = { since: notTaken?.since ?? clock.now(), refusals, isClinicTaken }
      log({ what: 'clinic-file-refused', count: refusals.length })
      return notTaken
    }
    notTaken = undefined
    return undefined
  }

  /** What can be taken, and what stands in the way of the rest of it. */
  function readNow(): { readonly loaded?: LoadedLine; readonly refusals: readonly Refusal[] } {
    try {
      const found = options.read()
      const refusals = refusedIn(found)
      const next = refusals.length === 0 ? found.loaded : contentAsServed(current, found.clinic, refusals)
      if (next === undefined) return { refusals }
      const built = onlyAtStart(current, next, clinicDir)
      return built.length > 0 ? { refusals: built } : { loaded: next, refusals }
    } catch (error) {
      return { refusals: [unreadable(error, clinicDir)] }
    }
  }

  /** A file is read once it has stood still for a look: an editor may be in the middle of writing it. */
  function glance(): void {
    const now = marksIn(clinicDir)
    if (now !== settled && now === seen) look()
    else seen = now
    again()
  }

  function again(): void {
    cancel = clock.wake(clock.monotonicMs() + LOOK_EVERY_MS, glance)
  }

  return {
    current: () => current,
    notTaken: () => notTaken,
    look,
    onTaken: listener => void listeners.push(listener),
    start: again,
    stop: () => cancel(),
  }
}

/**
 * The clinic's file as it is now with flows, words and settings that decide as they are served: for while these have a fault or
 * wait for an approval. A nurse who is ill at six must not be paged at two because a flow waits for its second reader.
 * Undefined where something else stands in the way.
 */
function contentAsServed(
  current: LoadedLine,
  { clinic, yaml, settings, pagers, signIn, retention, calendars }: LoadedClinic,
  refusals: readonly Refusal[],
): LoadedLine | undefined {
  const isOfContent = ({ guard, where }: Refusal) =>
    guard === 'approvals' || (guard === 'files' && yaml !== undefined && !where.startsWith(yaml.file))
  if (clinic === undefined || !refusals.every(isOfContent)) return undefined
  const { line, signIn: _before, ...content } = current
  const served: Readonly<Record<string, unknown>> = { ...line.settings }
  const deciding = decidingSettings(line.flows).flatMap(id => (id in served ? [[id, served[id]]] : []))
  return {
    ...content,
    line: { ...line, clinic, settings: { ...settings, ...Object.fromEntries(deciding) } },
    ...{ pagers, retention, calendars },
    ...(signIn === undefined ? {} : { signIn }),
  }
}

/** What the line is built on from its start: another value would be half taken. */
function onlyAtStart(before: LoadedLine, next: LoadedLine, clinicDir: string): readonly Refusal[] {
  const built: readonly (readonly [key: string, of: (loaded: LoadedLine) => unknown])[] = [
    ['demonstration', ({ line }) => line.clinic.demonstration],
    ['web-address', ({ line }) => line.clinic.webAddress],
    ['staff-language', ({ line }) => line.clinic.staffLanguage],
    ['family-languages', ({ line }) => [line.languages, line.clinic.familyLanguages]],
    ['pagers', ({ pagers }) => pagers],
    ['sign-in', ({ signIn }) => signIn ?? null],
    ['store', ({ store }) => store ?? null],
  ]
  return built
    .filter(([, of]) => JSON.stringify(of(before)) !== JSON.stringify(of(next)))
    .map(([key]) => ({
      guard: 'files',
      code: 'RESTART_NEEDED',
      where: join(clinicDir, 'clinic.yaml'),
      found: `another "${key}" than the line was started with`,
      expected: 'the same while it runs',
      todo: 'put it back, or stop the line and start it again; nothing of this file counts until then',
      severity: 'refused',
    }))
}

function unreadable(error: unknown, clinicDir: string): Refusal {
  return {
    guard: 'files',
    code: 'FILE_UNREADABLE',
    where: clinicDir,
    found: error instanceof Error ? (error.message.split('\n')[0] ?? error.name) : 'files that cannot be read',
    expected: 'a folder with a clinic file, and flows, that can be read',
    todo: 'put it right, then run "smallhours clinic" again',
    severity: 'refused',
  }
}

/** Where a refusal stands, and its code, without the folder and without what stands there: for whoever may read nothing else. */
export const placeOf = ({ where, code }: Refusal): string => `${basename(where)} ${code}`

/** Changes with every file of the folder that a line is read from; approvals and the clinic's own flows among them. */
function marksIn(clinicDir: string): string {
  const marks: string[] = []
  const walk = (folder: string): void => {
    for (const entry of readdirSync(folder, { withFileTypes: true })) {
      const path = join(folder, entry.name)
      if (entry.isDirectory()) walk(path)
      else if (/\.(?:yaml|ics|json)$/.test(entry.name)) {
        const { mtimeMs, size, ino } = statSync(path)
        marks.push(`${path} ${mtimeMs} ${size} ${ino}`)
      }
    }
  }
  try {
    walk(clinicDir)
  } catch {
    marks.push('unreadable')
  }
  return sha256(marks.toSorted().join('\n'))
}
