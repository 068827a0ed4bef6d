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
  const worst: number[] = []
  for (let round = 0; round <= ROUNDS; round += 1) {
    progress.round('understanding', round, ROUNDS)
    const took = texts.map(text => {
      const started = performance.now()
      subject.understand({ body: { kind: 'text', text }, state: undefined, at })
      return performance.now() - started
    })
    if (round > 0) worst.push(percentile(took, 0.99))
  }
  return [
    figureOf(
      {
        area: 'understanding',
        name: 'time to read a message, 99th of 100',
        unit: 'milliseconds',
        bound: 'most',
        target: 2,
        against: `no peer: ${texts.length} first messages of families, each once a round`,
      },
      worst,
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
