import { isMainThread, parentPort, Worker, workerData } from 'node:worker_threads'
import type { CalendarRead } from '../calendar/read.ts'
import { type CalendarCode, CalendarRefused } from '../config/calendar-refused.ts'
import type { Clinic } from '../oncall/clinic.ts'
import type { Instant } from '../time/instant.ts'

/** A calendar comes from outside: it is read in a thread of its own, so that a hostile one cannot hold up a family's answer. */

export interface CalendarAsked {
  readonly text: string
  readonly clinic: Clinic
  readonly role: string
  readonly source: string
  readonly ignores: readonly string[]
  readonly at: Instant
}

const READ_WITHIN_MS = 20_000
const MEMORY_MB = 512

type Answer =
  | { readonly kind: 'read'; readonly read: CalendarRead }
  | { readonly kind: 'refused'; readonly code: CalendarCode; readonly message: string; readonly line: number }

/** The calendar as shifts. Throws `CalendarRefused` where it cannot be read as it was meant, or takes too long. */
export function readApart(asked: CalendarAsked, withinMs: number = READ_WITHIN_MS): Promise<CalendarRead> {
  const worker = new Worker(new URL(import.meta.url), {
    workerData: { calendar: asked },
    resourceLimits: { maxOldGenerationSizeMb: MEMORY_MB },
  })
  const late = AbortSignal.timeout(withinMs)
  return new Promise<CalendarRead>((resolve, reject) => {
    const tooMuch = () =>
      reject(new CalendarRefused('CALENDAR_TOO_LARGE', 'reading it takes longer, or more memory, than a rota does'))
    late.addEventListener('abort', tooMuch)
    worker.on('error', tooMuch)
    worker.on('exit', tooMuch)
    worker.on('message', (answer: Answer) => {
      if (answer.kind === 'read') resolve(answer.read)
      else reject(new CalendarRefused(answer.code, answer.message, answer.line))
    })
  }).finally(() => void worker.terminate())
}

async function answerOf({ text, ...given }: CalendarAsked): Promise<Answer> {
  const { calendarRead } = await import('../calendar/read.ts')
  try {
    return { kind: 'read', read: calendarRead(text, given) }
  } catch (cause) {
    if (!(cause instanceof CalendarRefused)) throw cause
    return { kind: 'refused', code: cause.code, message: cause.message, line: cause.line }
  }
}

const work = isMainThread ? undefined : (workerData as { readonly calendar?: CalendarAsked } | null)?.calendar
if (work !== undefined) parentPort?.postMessage(await answerOf(work))
