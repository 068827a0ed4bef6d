import { setImmediate } from 'node:timers/promises'
import { handClock } from '../runtime/hand-clock.ts'
import { seconds } from '../time/instant.ts'
import { figureOf, type Measured, median } from './figure.ts'
import { FIRST_WORDS, inProcess, tapFor } from './in-process.ts'
import { ROUNDS } from './rounds.ts'
import type { AreaContext } from './subject.ts'

/** Conversations a round. */
const CONVERSATIONS = 12
const MESSAGES = 80
/** Message numbers (from 1, inclusive) compared: as many of each kind in both. */
const EARLY = [5, 8] as const
const LATE = [77, 80] as const
/** The fact a family changes its mind about, again and again. */
const CHANGED = 'device'

interface Round {
  readonly early: number
  readonly late: number
  readonly bytesEarly: number
  readonly bytesLate: number
}

/**
 * A family that changes one answer again and again: whether the eightieth message costs more than the fifth, and whether
 * what is stored of the case grows. Each message is loaded, understood, stepped, committed, rendered and sent.
 */
export async function caseArea({ subject, ground, progress }: AreaContext): Promise<readonly Measured[]> {
  const folder = ground.folder()
  const store = await subject.openStore(folder)
  const clock = handClock(subject.clock.now())
  const bot = await inProcess(subject, store, clock)
  const rounds: Round[] = []
  for (let round = 0; round <= ROUNDS; round += 1) {
    progress.round('case', round, ROUNDS)
    const talked: Round[] = []
    for (let each = 0; each < CONVERSATIONS; each += 1) talked.push(await conversation(`family-${round}-${each}`))
    const middle = (of: keyof Round) => median(talked.map(one => one[of]))
    if (round > 0) {
      rounds.push({
        early: middle('early'),
        late: middle('late'),
        bytesEarly: middle('bytesEarly'),
        bytesLate: middle('bytesLate'),
      })
    }
    await setImmediate()
  }
  await bot.stop()
  await store.close()
  ground.removeFolder(folder)

  async function conversation(chat: string): Promise<Round> {
    const family = bot.family(chat)
    const took: number[] = []
    let bytesEarly = 0
    for (let message = 1; message <= MESSAGES; message += 1) {
      const { question } = family
      const changes = message >= EARLY[0] && message % 2 === 1
      took.push(
        await family.send(
          message === 1
            ? FIRST_WORDS
            : changes
              ? { kind: 'control', control: 'change', subject: CHANGED }
              : tapFor(asked(question, message)),
        ),
      )
      await clock.advance(seconds(1), bot.runtime.idle)
      if (message === EARLY[1]) bytesEarly = await bytesStored(chat)
    }
    const between = ([from, to]: readonly [number, number]) => median(took.slice(from - 1, to))
    return { early: between(EARLY), late: between(LATE), bytesEarly, bytesLate: await bytesStored(chat) }
  }

  async function bytesStored(chat: string): Promise<number> {
    const [stored] = await store.casesOf({ channel: 'web', chat })
    if (stored === undefined) throw new Error('measure: the case of a conversation is not in the store')
    return Buffer.byteLength(stored.state)
  }

  const median5 = (of: keyof Round) => median(rounds.map(round => round[of])).toPrecision(3)
  return [
    figureOf(
      {
        area: 'case',
        name: 'time of messages 77 to 80 of a conversation',
        unit: 'times',
        bound: 'most',
        target: 1.2,
        against: `messages 5 to 8 of the same conversations, ${median5('early')} milliseconds each in this run`,
      },
      rounds.map(({ early, late }) => late / early),
    ),
    figureOf(
      {
        area: 'case',
        name: 'bytes stored of a case after 80 messages',
        unit: 'times',
        bound: 'most',
        target: 1.2,
        against: `after 8 messages of the same conversations, ${median5('bytesEarly')} bytes in this run`,
      },
      rounds.map(({ bytesEarly, bytesLate }) => bytesLate / bytesEarly),
    ),
  ]
}

function asked<T>(question: T | undefined, message: number): T {
  if (question === undefined) throw new Error(`measure: message ${message} was to answer a question, and none was put`)
  return question
}
