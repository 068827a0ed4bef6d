/** What the run holds the bot to, as functions of what was seen outside of it. Times in milliseconds. */
import type { ReadLine } from './family-page.ts'

/** One message of a family, however often it was sent. */
export interface Post {
  readonly chat: number
  /** Words or label that the log has to show; undefined for a control, which shows none. */
  readonly said: string | undefined
  readonly sentAt: number
  /** When the server said that it has it; undefined while it has not. */
  takenAt?: number
  /** From sending until the answer could be read; undefined where none came. */
  answeredMs?: number
  /** First message of a case, in words that say the tube is out: the answer must hold the holding advice. */
  readonly saysOut: boolean
  answer?: string
}

export interface Broken {
  readonly promise: Promised
  readonly chat?: number
  readonly what: string
}

export const PROMISED = {
  'once-in-the-log': 'every message that was taken stands in the log, once',
  'answered-in-5-s': 'every message is answered within 5 s',
  'no-reply-twice': 'no reply comes twice without saying so',
  'holding-advice-first': 'the first reply to "it came out" holds the holding advice',
  'own-words-only': 'no log shows words of another family or its clinician',
  'paged-in-5-s': 'a reply that decides has its page at a receiver within 5 s',
  'pages-move-on': 'a page that nobody answers moves on in its time',
  'page-once': 'a page comes twice to an address only marked as a repeat',
  'every-address': 'every page reaches each address of the one paged',
  'clinician-words': 'what a clinician writes stands in that family’s log, once',
  'no-5xx': 'no request ends in a fault',
  'none-refused': 'no message of a family is refused',
  'memory-flat': 'memory does not grow',
  'descriptors-flat': 'connections and files are given back',
  'ends-well': 'the process runs to the end and stops when told',
} as const
export type Promised = keyof typeof PROMISED

/** Each message taken stands in its chat's log as often as it was said: never less (lost), never more (twice). */
export function onceInTheLog(posts: readonly Post[], lines: readonly ReadLine[], chat: number): Broken[] {
  const owed = countsOf(posts.flatMap(post => (post.takenAt === undefined ? [] : (post.said ?? []))))
  const unsure = countsOf(posts.flatMap(post => (post.takenAt === undefined ? (post.said ?? []) : [])))
  const there = countsOf(lines.flatMap(line => (line.who === 'family' ? (line.words ?? []) : [])))
  return [...new Set([...owed.keys(), ...there.keys()])].flatMap(words => {
    const [least, found] = [owed.get(words) ?? 0, there.get(words) ?? 0]
    const most = least + (unsure.get(words) ?? 0)
    if (found >= least && found <= most) return []
    const what = `"${words}": taken ${least}, in the log ${found} (${found < least ? 'lost' : 'more than said'})`
    return [{ promise: 'once-in-the-log' as const, chat, what }]
  })
}

function countsOf(words: readonly string[]): Map<string, number> {
  const counts = new Map<string, number>()
  for (const one of words) counts.set(one, (counts.get(one) ?? 0) + 1)
  return counts
}

/** @param within ms, inclusive */
export function answeredInTime(posts: readonly Post[], within: number): Broken[] {
  return posts
    .filter(post => post.takenAt !== undefined && (post.answeredMs === undefined || post.answeredMs > within))
    .map(post => ({
      promise: 'answered-in-5-s' as const,
      chat: post.chat,
      what: `"${post.said ?? 'a control'}": ${post.answeredMs === undefined ? 'no answer' : `${Math.round(post.answeredMs)} ms`}`,
    }))
}

/** The page tells instants by the second. */
const SAME_MOMENT_MS = 1_000

/**
 * Two neighbouring lines of the bot, alike and within `within` ms.
 * @param begins stands in the first reply of a case: those of two children are alike
 * @param asked when the family sent what shows no words in the log (a control, such as "change" pressed again): it is
 *   answered too, and two of a kind are answered alike
 */
export function noReplyTwice(
  lines: readonly ReadLine[],
  chat: number,
  within: number,
  begins: string,
  asked: readonly number[] = [],
): Broken[] {
  return lines.flatMap((line, i) => {
    const before = lines[i - 1]
    const isTwice =
      line.who === 'bot' &&
      before?.who === 'bot' &&
      line.text !== '' &&
      !line.text.includes(begins) &&
      before.text === line.text &&
      Math.abs(line.at - before.at) <= within &&
      !asked.some(at => at >= before.at - SAME_MOMENT_MS && at <= line.at + SAME_MOMENT_MS)
    return isTwice ? [{ promise: 'no-reply-twice' as const, chat, what: line.text.slice(0, 80) }] : []
  })
}

/** @param advice each a line of which the first reply must hold one at least */
export function holdingAdviceFirst(posts: readonly Post[], advice: readonly string[]): Broken[] {
  return posts
    .filter(post => post.saysOut && post.answer !== undefined && !advice.some(line => post.answer?.includes(line)))
    .map(post => ({
      promise: 'holding-advice-first' as const,
      chat: post.chat,
      what: `"${post.said}" was answered: ${post.answer?.slice(0, 160)}`,
    }))
}

/** Shape of every planted word: it stands in no shipped text. */
export const PLANTED = /\bzq[a-z]{8}\b/g

/** @param isOwn whether a planted word may be read in this chat */
export function ownWordsOnly(markup: string, isOwn: (planted: string) => boolean, chat: number): Broken[] {
  return [...new Set(markup.match(PLANTED) ?? [])]
    .filter(planted => !isOwn(planted))
    .map(planted => ({ promise: 'own-words-only' as const, chat, what: `${planted} belongs elsewhere` }))
}

/** A reply that decides "speak" or more urgent, the first of its case. */
export interface Decided {
  readonly chat: number
  /** When the reply was sent. */
  readonly at: number
  readonly text: string
}

/** @param pagesOf when pages of the chat's cases reached a receiver; `within` ms after the reply, inclusive */
export function pagedInTime(
  decided: readonly Decided[],
  pagesOf: (chat: number) => readonly number[],
  within: number,
): Broken[] {
  return decided
    .filter(({ chat, at }) => !pagesOf(chat).some(pageAt => pageAt >= at - 2 * within && pageAt <= at + within))
    .map(({ chat, at, text }) => ({
      promise: 'paged-in-5-s' as const,
      chat,
      what: `told ${new Date(at).toISOString()} "${text.slice(0, 60)}", no page in time (${pagesOf(chat).length} pages in all)`,
    }))
}

/** Deciding replies of a log: the first of each case, a case beginning where the bot says what it is. */
export function firstDecisions(
  lines: readonly ReadLine[],
  chat: number,
  texts: { readonly begins: string; readonly decides: readonly string[] },
): Decided[] {
  const found: Decided[] = []
  let isOpen = true
  for (const line of lines) {
    if (line.who !== 'bot') continue
    if (line.text.includes(texts.begins)) isOpen = true
    const text = texts.decides.find(decides => line.text.includes(decides))
    if (!isOpen || text === undefined) continue
    found.push({ chat, at: line.at, text })
    isOpen = false
  }
  return found
}

/** Pages that came twice to one address without the mark of a repeat. */
export function pageOnce(
  pages: readonly { readonly id: string; readonly said?: { readonly repeated: boolean } }[],
): Broken[] {
  const seen = new Set<string>()
  return pages.flatMap(({ id, said }) => {
    const isAgain = seen.has(id)
    seen.add(id)
    return isAgain && said?.repeated === false ? [{ promise: 'page-once' as const, what: id }] : []
  })
}

/**
 * Everybody has a mailbox and a web call: as many mails as web calls for each case and person.
 * @param until pages that came later are left out, as the other may still be on its way
 */
export function everyAddress(
  pages: readonly { readonly at: number; readonly how: string; readonly caseId: string; readonly to: string }[],
  until: number,
): Broken[] {
  const groups = Map.groupBy(pages, ({ caseId, to }) => `${caseId} ${to}`)
  return [...groups].flatMap(([who, list]) => {
    if (list.some(({ at }) => at > until)) return []
    const mails = list.filter(({ how }) => how === 'mail').length
    return mails * 2 === list.length
      ? []
      : [{ promise: 'every-address' as const, what: `${who}: ${mails} mails, ${list.length - mails} web calls` }]
  })
}

/** One look at the process. */
export interface Sample {
  readonly at: number
  readonly residentMb: number
  readonly descriptors: number
}

/** MB an hour over the samples, by least squares; 0 for fewer than two. */
export function growthMbAnHour(samples: readonly Sample[]): number {
  const meanAt = mean(samples.map(({ at }) => at))
  const meanMb = mean(samples.map(({ residentMb }) => residentMb))
  const spread = samples.reduce((sum, { at }) => sum + (at - meanAt) ** 2, 0)
  const both = samples.reduce((sum, { at, residentMb }) => sum + (at - meanAt) * (residentMb - meanMb), 0)
  return spread === 0 ? 0 : (both / spread) * 3_600_000
}

const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length)

/** Flat: under 5 MB an hour over the last half, or the last quarter no more than a tenth above the second. */
export function memoryFlat(samples: readonly Sample[]): Broken[] {
  const quarter = (n: number) =>
    samples.slice(Math.floor((samples.length * (n - 1)) / 4), Math.floor((samples.length * n) / 4))
  const most = (some: readonly Sample[]) => Math.max(...some.map(({ residentMb }) => residentMb))
  const growth = growthMbAnHour(samples.slice(Math.floor(samples.length / 2)))
  const [second, last] = [most(quarter(2)), most(quarter(4))]
  if (growth < 5 || last <= 1.1 * second) return []
  const what = `${growth.toFixed(1)} MB an hour; at most ${second.toFixed(0)} MB in the second quarter, ${last.toFixed(0)} MB in the last`
  return [{ promise: 'memory-flat', what }]
}

/** @param from value at rank `share` (0 to 1), of values in any order; NaN of none */
export function quantile(from: readonly number[], share: number): number {
  const sorted = from.toSorted((a, b) => a - b)
  return sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))] ?? Number.NaN
}
