/** Told what is being measured; for a person who waits. */
export interface Progress {
  /** Round `round` of `rounds` begins; round 0 is the one that does not count. */
  round(what: string, round: number, rounds: number): void
  /** Something that takes its time and is no round. */
  says(what: string): void
}

/**
 * One line a round: what, which round, how long the rest of these rounds takes if they take as long as those before.
 *
 * @param nowMs milliseconds of a clock that never goes back
 */
export function lineProgress(write: (line: string) => void, nowMs: () => number): Progress {
  let started = 0
  return {
    round(what, round, rounds) {
      if (round === 0) {
        started = nowMs()
        write(`${what}: warming up`)
        return
      }
      // The round that did not count took its time as well.
      const each = (nowMs() - started) / round
      const left = Math.ceil((each * (rounds - round + 1)) / 1_000)
      write(`${what}: round ${round} of ${rounds}, about ${left} s left`)
    },
    says: write,
  }
}
