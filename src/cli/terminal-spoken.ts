import type { TerminalSpoken } from '../channels/terminal/terminal.ts'
import type { Spoken } from '../channels/webchat/family-log.ts'

/** What the terminal prints around the replies, from what the family's pages are made of. */
export const terminalSpoken = (spoken: Spoken): TerminalSpoken => ({
  wording: spoken.wording,
  clockText: at => spoken.clock.text(at),
  foot: spoken.foot(),
  firstAdvice: () => spoken.firstAdvice(),
  concerns: () => spoken.concerns(),
})
