/** What the one live message of a case on Telegram says. */
import { familyLine, type Line } from '../case/line.ts'
import { parseState } from '../case/state.ts'
import { caseValues } from '../case/values.ts'
import type { StatusNow } from '../channels/telegram/status.ts'
import { TELEGRAM_CHANNEL } from '../channels/telegram/telegram.ts'
import type { FamilyFoot, Wording } from '../channels/web-page.ts'
import { parkedOf } from '../runtime/parking.ts'
import type { StoredCase } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import { changeableOf, controlsOf } from './family-view.ts'

export interface StatusSource {
  readonly line: Line
  readonly stored: StoredCase
  readonly wordsIn: (language: string) => Wording
  readonly foot: (language: string) => FamilyFoot
  readonly at: Instant
}

/** Undefined for a case of another channel, and for one that cannot be read. */
export function telegramStatusOf({ line: whole, stored, wordsIn, foot, at }: StatusSource): StatusNow | undefined {
  if (stored.chat.channel !== TELEGRAM_CHANNEL || parkedOf(stored.state) !== undefined) return undefined
  const state = parseState(whole, stored.state)
  const line = familyLine(whole, state)
  const words = wordsIn(line.language)
  const values = caseValues(line, state, at) as Record<string, string | number>
  const { taken, pages } = state.callout
  const toHospital = state.disposition?.id === 'set-out' && state.leftAt === undefined
  const isClosed = stored.closed || state.closed
  const clock = [
    ...(values.outSince === '' ? [] : [words('telegram-status-out', values)]),
    ...(toHospital && values.hasLeaveBy === 'yes'
      ? [words(values.leavePast === 'yes' ? 'telegram-status-leave-past' : 'telegram-status-leave', values)]
      : []),
  ]
  const called =
    taken !== undefined
      ? [words('telegram-status-taken', values)]
      : pages.length > 0
        ? [words('telegram-status-paged')]
        : []
  const next = words(state.open === undefined ? 'telegram-status-follow' : 'telegram-status-answer')
  return {
    chat: stored.chat.chat,
    wording: words,
    foot: foot(line.language),
    lines: [
      words('code-short', { code: state.code }),
      ...(isClosed ? [words('telegram-status-closed')] : [...clock, ...called, next]),
    ],
    controls: isClosed ? [] : controlsOf(state),
    canChange: !isClosed && changeableOf(line, state).length > 0,
    isClosed,
  }
}
