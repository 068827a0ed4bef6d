import { type Family, FIRST_WORDS, tapFor } from './in-process.ts'

/** Messages of one talk. */
const MESSAGES = 10

/** One family, from its first words to its tenth message or until it is over; how many messages were answered. */
export async function talkOf(family: Family, isOver: () => boolean): Promise<number> {
  let answered = 0
  while (answered < MESSAGES && !isOver()) {
    const { question } = family
    if (answered > 0 && question === undefined) break
    await family.send(question === undefined ? FIRST_WORDS : tapFor(question))
    answered += 1
  }
  return answered
}
