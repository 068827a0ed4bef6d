import type { Button, Connection } from '../telegram/connection.ts'
import type { Page, Paged, Pager } from './pager.ts'
import { underWay } from './under-way.ts'

export interface TelegramPagerOptions {
  readonly connection: Pick<Connection, 'send'>
  /** Chats of the accounts that a person has linked. */
  chatsOf(personId: string): readonly string[]
  /** The acknowledge choices; none for a page that only tells. */
  buttonsOf(page: Page): readonly (readonly Button[])[]
  /** What the choices do, to stand under the page's own words. */
  howToAnswer(): string
  /** Stands before a page that may have arrived before. */
  repeatLabel(): string
}

export const TELEGRAM_PAGER = 'telegram'

/**
 * Pages to the accounts that a person has linked. "Accepted" means that Telegram's server took it for one of them: only the
 * person's own press stops a ladder. Whoever has linked none is not reached this way, and the ladder hears so at once.
 */
export function telegramPager(options: TelegramPagerOptions): Pager {
  const sends = underWay('Telegram pager', () => 'the page could not be made')
  /** Accounts that took a page of this key: a repeat after another failed does not go to them again. */
  const took = new Map<string, Set<string>>()

  async function toAll(page: Page): Promise<Paged> {
    const chats = options.chatsOf(page.to.id)
    if (chats.length === 0) return { kind: 'refused', reason: 'no account is linked' }
    const done = took.get(page.key) ?? new Set<string>()
    const message = messageOf(page, options)
    const outcomes = await Promise.all(
      chats.map(async (chat): Promise<Paged> => {
        if (done.has(chat)) return { kind: 'accepted' }
        const outcome = await options.connection.send(chat, message)
        if (outcome.kind !== 'done') return outcome
        done.add(chat)
        return { kind: 'accepted' }
      }),
    )
    remember(page.key, done)
    const inOrder = ['accepted', 'unknown', 'failed', 'refused'] as const
    const best = inOrder.flatMap(kind => outcomes.filter(outcome => outcome.kind === kind))[0]
    return best ?? { kind: 'refused', reason: 'no account is linked' }
  }

  function remember(key: string, done: Set<string>): void {
    if (took.size > KEYS_MOST) took.clear()
    took.set(key, done)
  }

  return {
    id: TELEGRAM_PAGER,
    page: page => sends.carry(() => toAll(page)),
    stop: () => sends.stop(),
  }
}

const KEYS_MOST = 2_000

function messageOf(page: Page, { buttonsOf, howToAnswer, repeatLabel }: TelegramPagerOptions) {
  const label = page.repeated ? `${repeatLabel()}: ` : ''
  const buttons = buttonsOf(page)
  const how = buttons.length === 0 ? '' : `\n\n${howToAnswer()}`
  return { text: `${label}${page.text}${how}`, buttons }
}
