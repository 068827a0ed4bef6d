import { handClock } from '../runtime/hand-clock.ts'
import type { StepRecord } from '../store/store.ts'
import { type Instant, seconds } from '../time/instant.ts'
import type { Ground } from './ground.ts'
import { FIRST_WORDS, inProcess, tapFor } from './in-process.ts'
import type { Subject } from './subject.ts'

/** Messages of the conversation that is written down. */
const MESSAGES = 10

/**
 * Every step that the bot commits in one conversation with a family whose child's tube is out, pages and all. Steps of
 * other cases are made from it by putting other ids in, so that measuring the store does not measure the flow.
 */
export interface Conversation {
  /** The same conversation under another case and chat: event numbers, deliveries and effect ids are its own. All of it, or its first steps. */
  of(name: string, steps?: number): readonly StepRecord[]
}

/** @param at when the conversation begins */
export async function recordedConversation(subject: Subject, ground: Ground, at: Instant): Promise<Conversation> {
  const folder = ground.folder()
  const store = await subject.openStore(folder)
  const steps: StepRecord[] = []
  const recording = {
    ...store,
    commit: async (step: StepRecord) => {
      const result = await store.commit(step)
      if (result === 'committed') steps.push(step)
      return result
    },
  }
  const clock = handClock(at)
  const bot = await inProcess(subject, recording, clock)
  const family = bot.family(CHAT)
  for (let message = 1; message <= MESSAGES; message += 1) {
    const { question } = family
    if (message > 1 && question === undefined) break
    await family.send(question === undefined ? FIRST_WORDS : tapFor(question))
    await clock.advance(seconds(1), bot.runtime.idle)
  }
  await bot.stop()
  await store.close()
  ground.removeFolder(folder)
  const caseId = steps[0]?.caseId
  if (caseId === undefined || steps.length < MESSAGES) {
    throw new Error(`measure: a conversation of at least ${MESSAGES} steps was expected, the bot made ${steps.length}`)
  }
  const texts = steps.map(step => JSON.stringify(step).replaceAll(caseId, '\u0001').replaceAll(CHAT, '\u0002'))
  return {
    of: (name, count = texts.length) =>
      texts
        .slice(0, count)
        .map(text =>
          JSON.parse(text.replaceAll('\u0001', name.padStart(32, '0')).replaceAll('\u0002', `chat-${name}`)),
        ),
  }
}

const CHAT = 'family-that-is-written-down'
