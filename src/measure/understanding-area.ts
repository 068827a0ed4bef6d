import { figureOf, type Measured, percentile } from './figure.ts'
import { ROUNDS } from './rounds.ts'
import type { AreaContext } from './subject.ts'

/**
 * How long a message takes to be read, danger signs and all: every labelled message, as a first message. And how many of
 * them, and of labelled words about time, are read as they should be.
 */
export async function understandingArea({ subject, progress }: AreaContext): Promise<readonly Measured[]> {
  const texts = subject.corpus()
  const at = subject.clock.now()
  const times: number[][] = []
  for (let round = 0; round <= ROUNDS; round += 1) {
    progress.round('understanding', round, ROUNDS)
    const took = texts.map(text => {
      const started = performance.now()
      subject.understand({ body: { kind: 'text', text }, state: undefined, at })
      return performance.now() - started
    })
    if (round > 0) times.push(took)
  }
  // What else the machine does at that moment strikes another message each round: the middle one of each is its own cost.
  const own = texts.map((_, message) =>
    percentile(
      times.map(took => took[message] as number),
      0.5,
    ),
  )
  return [
    figureOf(
      {
        area: 'understanding',
        name: 'time to read a message, 99th of 100',
        unit: 'milliseconds',
        bound: 'most',
        target: 2,
        against: `no peer: ${texts.length} first messages of families, the middle of ${ROUNDS} readings of each`,
      },
      [percentile(own, 0.99)],
    ),
    ...subject.labelledReadings().map(({ name, share, target, lines }) =>
      figureOf(
        {
          area: 'understanding',
          name,
          unit: 'percent',
          bound: 'least',
          target: target * 100,
          against: `no peer: ${lines}`,
        },
        [share * 100],
      ),
    ),
  ]
}
