/** Where figures come from: transcripts, or the data folder of the bot. Either way each case is gone through with the step. */
import type { RecordedCase } from '../replay/reading.ts'
import { recordIn } from '../review/case-record.ts'
import { type CaseSummary, type LineAt, RecordDiffers, summaryOf } from '../review/case-summary.ts'
import { systemClock, systemRandom } from '../runtime/system-clock.ts'
import { openReviewFile } from '../store/sqlite/review-file.ts'
import { complain } from './command.ts'
import { openDataFolder } from './data-folder.ts'
import { flowShelf } from './flow-shelf.ts'
import type { LoadedLine } from './load-line.ts'
import { dataFolderSaid } from './places-said.ts'
import { flowsFor, linesOf, withoutFlow } from './replay.ts'
import { reviewIndex } from './review-index.ts'
import { openSealedData } from './sealed-data.ts'
import { faultText, told } from './transcript-file.ts'

const PROGRESS_EVERY = 1_000
/** Cases left out that are named one by one. */
const NAMED_MOST = 20

export interface FiguresSource {
  readonly summaries: readonly CaseSummary[]
  /** Cases that could not be gone through; each was said. */
  readonly leftOut: number
  /** Faults of the files; each was said. */
  readonly faults: number
}

/** Reads on past whatever is wrong, and says it by file and line. */
export async function fromTranscripts(files: readonly string[], loaded: LoadedLine): Promise<FiguresSource> {
  const shelf = flowShelf({ loaded })
  const seen = new Map<string, CaseSummary>()
  let leftOut = 0
  let faults = 0
  const leave = (why: string) => {
    leftOut++
    if (leftOut <= NAMED_MOST) complain(why)
  }
  for await (const read of told(files, systemClock().now())) {
    for (const fault of read.faults) complain(faultText(read.file, fault))
    faults += read.faults.length
    leftOut += read.leftOut
    const { whole } = read
    if (whole === undefined) continue
    const flows = flowsFor(whole, read.reading, shelf, fault => complain(`${read.file}: ${fault}`))
    if (flows === undefined) {
      leave(`${read.file}: ${whole.head.case}: ${withoutFlow(whole)}`)
      continue
    }
    const lines = linesOf(read.reading, flows)
    const one = summarised(
      whole,
      edition => lines(edition ?? whole.steps[0]?.edition ?? ''),
      why => leave(`${read.file}: ${why}`),
    )
    if (one === undefined) continue
    if (seen.has(one.caseId)) leave(`${read.file}: case ${one.caseId} stood in an earlier file already: counted once`)
    else seen.set(one.caseId, one)
    if (seen.size % PROGRESS_EVERY === 0) complain(`${seen.size.toLocaleString('en')} cases`)
  }
  return { summaries: [...seen.values()], leftOut, faults }
}

function summarised(whole: RecordedCase, lineAt: LineAt, leave: (why: string) => void): CaseSummary | undefined {
  try {
    return summaryOf(lineAt, recordIn(whole))
  } catch (error) {
    if (!(error instanceof Error)) throw error
    const isKnown = error instanceof RecordDiffers
    leave(isKnown ? `${error.message}; "smallhours replay" shows how` : `case ${whole.head.case}: ${error.message}`)
    return undefined
  }
}

/** Brings the summaries of a data folder up to date, and reads them. */
export async function fromData(folder: string, loaded: LoadedLine): Promise<FiguresSource> {
  dataFolderSaid(folder)
  const data = openDataFolder(folder, systemRandom())
  const { clinic } = loaded.line
  const sealed = await openSealedData({
    ...{ data, store: loaded.store, mode: clinic.demonstration ? 'demonstration' : 'clinic', onUnreadable: () => {} },
    onFault: error => {
      throw error
    },
  })
  const reviews = openReviewFile(data.reviewsFile)
  try {
    const shelf = flowShelf({ loaded, data: folder })
    const index = reviewIndex({ reviews, store: sealed.store, key: data.key, lineOf: shelvedLine(loaded, shelf) })
    const { leftOut } = await index.refresh()
    if (leftOut > 0) complain(`${leftOut} closed cases could not be gone through; "smallhours replay" shows how`)
    return { summaries: reviews.summaries(), leftOut, faults: 0 }
  } finally {
    reviews.close()
    await sealed.store.close()
  }
}

/** The line with the flows that a stored case was opened under; as it is where the state names none. */
export function shelvedLine(loaded: LoadedLine, shelf: ReturnType<typeof flowShelf>) {
  return (state: string) => {
    const { concern, flowHash } = JSON.parse(state) as { concern?: string; flowHash?: string }
    if (concern === undefined) return loaded.line
    const flows = shelf.of(concern, flowHash)
    return flows === undefined ? undefined : { ...loaded.line, flows: flows.set, hashes: flows.hashes }
  }
}
