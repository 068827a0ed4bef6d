import type { Line } from '../case/line.ts'
import type { CaseSummary } from '../review/case-summary.ts'
import type { Clock } from '../runtime/clock.ts'
import type { Understand } from '../runtime/understanding.ts'
import type { Store, WholeStore } from '../store/store.ts'
import type { Ground } from './ground.ts'
import type { Progress } from './progress.ts'

/** What is measured, put together where adapters are known: this folder names none. */
export interface Subject {
  readonly line: Line
  readonly understand: Understand
  readonly clock: Clock
  /** The store that serves, over a folder: sealed, durable at every commit. */
  openStore(folder: string): Promise<WholeStore>
  /**
   * The same rows and seals in the same files, but every step in a transaction of its own, begun and committed while the
   * caller waits. Steps only; the rest of the port is that of the store that serves.
   */
  openStoreStepByStep(folder: string): Promise<Pick<Store, 'commit' | 'close'>>
  /** The store that serves where a clinic names a Redis: sealed, keys in the folder; it acts for its share when it is given back. */
  openRedisStore(folder: string, port: number): Promise<WholeStore>
  /** The Redis store beneath it, which keeps what it is given as it is; it acts for its share when it is given back. */
  openUnsealedRedisStore(port: number): Promise<WholeStore>
  /** Path of the program file of a process that answers families on a Redis. */
  readonly familiesServer: string
  /** The whole bot on Telegram, over a folder: everything in it made for this. */
  openTelegram(folder: string): Promise<MeasuredTelegram>
  openReviews(folder: string): MeasuredReviews
  /** Path of the program file that starts the bot. */
  readonly launcher: string
  /** Messages of families, one an entry. */
  corpus(): readonly string[]
  /** How labelled messages and words about time are read, each set of lines apart. */
  labelledReadings(): readonly LabelledReading[]
}

/** The clinic's pages *Reviews*, asked for by somebody who may see all of them. */
export interface MeasuredReviews {
  /** Puts summaries into the file that the pages are answered from. */
  fill(summaries: readonly CaseSummary[]): void
  draw(month: string): Promise<void>
  /** The page at a path, whole. @throws when it does not come */
  open(path: string): Promise<string>
  /** @throws when anything went wrong on the way */
  close(): Promise<void>
}

export interface TelegramButton {
  readonly text: string
  readonly data: string
}

/** The bot on Telegram, with a server that answers at once. */
export interface MeasuredTelegram {
  /** Hands it an update, without its number, as a poll brings it; resolves when the bot confirms it: what it leads to is durable. */
  bring(update: object): Promise<void>
  /** Lets what waits be sent. */
  send(): Promise<void>
  /** The last buttons a chat was sent that answer a question (`a`) or change an answer (`x`). */
  buttonsIn(chat: string, kind: 'a' | 'x'): readonly TelegramButton[]
  /** @throws when anything went wrong on the way */
  stop(): Promise<void>
}

/** One share of a set of labelled lines that were read as they should be, between 0 and 1. */
export interface LabelledReading {
  readonly name: string
  readonly share: number
  /** Least share that is good enough. */
  readonly target: number
  /** Which lines, and how many. */
  readonly lines: string
}

export interface AreaContext {
  readonly subject: Subject
  readonly ground: Ground
  readonly progress: Progress
}
