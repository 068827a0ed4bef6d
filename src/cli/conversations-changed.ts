/** Which conversations go differently than under what was approved: situations played through both, side by side. */
import { existsSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { DISPOSITIONS } from '../flow/document.ts'
import { explain } from '../understand/explain.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import type { LoadedLine } from './load-line.ts'
import { readVignettes, type Vignette } from './vignette-file.ts'
import { runVignette, type VignetteRun } from './vignette-run.ts'

/** Situations that come with the bot. */
const SHIPPED_SITUATIONS = fileURLToPath(new URL('../../tests/vignettes', import.meta.url))

/** What a conversation came to. */
export interface CameTo {
  readonly decided: string | null
  /** What was advised, by tag, in order. */
  readonly advised: readonly string[]
  readonly pages: boolean
  /** In milliseconds since 1970. */
  readonly leaveBy: number | null
  readonly questions: number
  /** One line each; what the family said begins with "> ". */
  readonly conversation: readonly string[]
}

export interface WentDifferently {
  readonly id: string
  readonly title: string
  readonly before: CameTo
  readonly after: CameTo
  /** Something milder is decided, nobody is paged any more, or the family is told to leave later. */
  readonly isLowered: boolean
}

export interface ConversationsChanged {
  /** Situations that were played through both. */
  readonly tried: number
  /** Lowered first. */
  readonly differing: readonly WentDifferently[]
  /** Of the others: those in which some line is worded differently and nothing else is. */
  readonly onlyWords: number
  /** Ids of situations that one of the two cannot read. */
  readonly unreadable: readonly string[]
}

/** Plays each situation through both. Takes about a quarter of a second for each: never on the loop that answers families. */
export async function conversationsChanged(
  before: LoadedLine,
  after: LoadedLine,
  situations: readonly { readonly before: Vignette; readonly after: Vignette }[],
  unreadable: readonly string[] = [],
): Promise<ConversationsChanged> {
  const differing: WentDifferently[] = []
  let onlyWords = 0
  for (const situation of situations) {
    const was = cameTo(await runVignette(before, situation.before))
    const is = cameTo(await runVignette(after, situation.after))
    if (cameToSame(was, is)) {
      if (JSON.stringify(was.conversation) !== JSON.stringify(is.conversation)) onlyWords += 1
    } else {
      const { id, title } = situation.after
      differing.push({ id, title, before: was, after: is, isLowered: isLowered(was, is) })
    }
  }
  return { tried: situations.length, differing: loweredFirst(differing), onlyWords, unreadable }
}

/** The situations about a part: of a flow, those that lead into it by either lexicon; of settings and the lexicon, all. */
export function situationsAbout(
  part: string,
  clinicDir: string,
  before: LoadedLine,
  after: LoadedLine,
): Pick<ConversationsChanged, 'unreadable'> & { readonly situations: { before: Vignette; after: Vignette }[] } {
  const own = join(clinicDir, 'vignettes')
  const folders = [...(existsSync(own) ? [own] : []), SHIPPED_SITUATIONS]
  const readWith = ({ line }: LoadedLine) => readVignettes(folders, line).vignettes
  const now = readWith(after)
  const then = new Map(readWith(before).map(one => [one.id, one]))
  const isFlow = after.line.flows.flows.has(part)
  const wanted = now.filter(one => !isFlow || [before, after].some(({ lexicons }) => isAbout(one, part, lexicons)))
  return {
    situations: wanted.flatMap(one => {
      const old = then.get(one.id)
      return old === undefined ? [] : [{ before: old, after: one }]
    }),
    unreadable: wanted.flatMap(({ id }) => (then.has(id) ? [] : [id])),
  }
}

function isAbout(one: Vignette, concern: string, lexicons: ReadonlyMap<string, Lexicon>): boolean {
  if (one.concern === concern) return true
  const lexicon = lexicons.get(one.language ?? 'en') ?? [...lexicons.values()][0]
  const said = [one.says, ...one.then.map(({ says }) => says)].flatMap(says => says ?? [])
  return lexicon !== undefined && said.some(text => explain(text, lexicon).concerns.includes(concern))
}

const cameTo = ({ decided, advised, pages, leaveBy, questions, conversation }: VignetteRun): CameTo => ({
  ...{ decided: decided ?? null, advised, pages, leaveBy: leaveBy ?? null, questions, conversation },
})

/** The same but for how lines are worded. A line that is gone or new is more than words, also where another has its tags. */
const cameToSame = ({ conversation: wasSaid, ...was }: CameTo, { conversation: isSaid, ...is }: CameTo): boolean =>
  wasSaid.length === isSaid.length && JSON.stringify(was) === JSON.stringify(is)

/** 0 is the most urgent; nothing decided is the mildest. */
function rank(decided: string | null): number {
  const index = (DISPOSITIONS as readonly (string | null)[]).indexOf(decided)
  return index === -1 ? DISPOSITIONS.length : index
}

export function isLowered(before: CameTo, after: CameTo): boolean {
  const leavesLater = before.leaveBy !== null && (after.leaveBy === null || after.leaveBy > before.leaveBy)
  return rank(after.decided) > rank(before.decided) || (before.pages && !after.pages) || leavesLater
}

/** What is lowered stands first, the furthest of it at the top; then what is raised; then the rest, by id. */
function loweredFirst(all: readonly WentDifferently[]): readonly WentDifferently[] {
  const fell = ({ before, after }: WentDifferently) => rank(after.decided) - rank(before.decided)
  return all.toSorted(
    (a, b) => Number(b.isLowered) - Number(a.isLowered) || fell(b) - fell(a) || a.id.localeCompare(b.id),
  )
}
