/** Text messages: pages that go out, and what comes back. Loaded only where a clinic pages by them. */
import { readFileSync } from 'node:fs'
import type { Wording } from '../channels/web-page.ts'
import type { PagerRoutes } from '../config/pager-section.ts'
import type { Page, Pager } from '../pagers/pager.ts'
import { smsPager } from '../pagers/sms.ts'
import type { Clock } from '../runtime/clock.ts'
import { type Centre, type CentreOptions, shortMessageCentre } from '../sms/centre.ts'
import type { Receipt } from '../sms/receipts.ts'
import { hours, type Instant } from '../time/instant.ts'
import { howToAnswer } from './sms-answers.ts'

/** What comes in, and what to send back; nothing where it is undefined. Rejects when it could not be kept. */
export type OnText = (from: string, text: string) => Promise<string | undefined>

export interface BotSms {
  readonly pager: Pager
  /** The same connection, for what families are told. */
  readonly centre: Pick<Centre, 'send'>
  /** Families may write to the number, and are answered there. */
  readonly takesFamilies: boolean
  /** From now on what comes in is answered. Before, the telephone company is asked to come back. */
  answerWith(onText: OnText): void
  /** From now on what became of pages at the telephone is told. */
  receiptsTo(onReceipt: (page: Page, outcome: Receipt) => void): void
  /** People whose last page by text message did not get to their telephone, and when that was told. */
  lost(): readonly { readonly name: string; readonly at: Instant }[]
}

/** The same words are not sent to one number again within this time: at the other end may be a machine that answers. */
const NOT_AGAIN_WITHIN_MS = 600_000
const NUMBERS_MOST = 1_000
/** So long a page that did not arrive is told on the board. Our own figure, no source. */
const LOST_TOLD_MS = hours(12)

export function openSms(route: NonNullable<PagerRoutes['sms']>, now: Clock['now'], wording: () => Wording): BotSms {
  const { passwordFile, takesFamilies, ...centre } = route
  return smsOver({ ...centre, password: readFileSync(passwordFile, 'utf8').trim() }, now, wording, takesFamilies)
}

/** The same over a centre that is not in the clinic's file: a demonstration's own. */
export function smsOver(
  options: Omit<CentreOptions, 'onMessage' | 'onReceipt'>,
  now: Clock['now'],
  wording: () => Wording,
  takesFamilies = false,
): BotSms {
  let onText: OnText | undefined
  const said = new Map<string, number>()
  const isNew = (from: string, words: string): boolean => {
    const key = `${from} ${words}`
    if (now() - (said.get(key) ?? Number.NEGATIVE_INFINITY) < NOT_AGAIN_WITHIN_MS) return false
    said.delete(key)
    said.set(key, now())
    const [oldest] = said.keys()
    if (said.size > NUMBERS_MOST && oldest !== undefined) said.delete(oldest)
    return true
  }
  const receipts = pageReceipts(now)
  const centre = shortMessageCentre({
    ...options,
    onReceipt: receipts.take,
    async onMessage(from, text) {
      if (onText === undefined) throw new Error('the line is not ready yet')
      const answer = await onText(from, text)
      // It is kept by now; that the answer does not get through must not have it delivered again.
      if (answer !== undefined && /^\+\d+$/.test(from) && isNew(from, answer)) void centre.send(from, answer)
    },
  })
  const pager = smsPager({
    centre,
    howToAnswer: page => howToAnswer(wording(), page),
    receiptOf: receipts.wait,
    repeatLabel: () => wording()('sms-repeat'),
  })
  return {
    pager,
    centre,
    takesFamilies,
    answerWith(answer) {
      onText = answer
    },
    receiptsTo: receipts.tell,
    lost: receipts.lost,
  }
}

/** Pages whose receipts are waited for, in memory: after a restart no receipt of an earlier page is known. */
function pageReceipts(now: Clock['now']) {
  const waited = new Map<string, Page>()
  const lost = new Map<string, { readonly name: string; readonly at: Instant }>()
  let told: (page: Page, outcome: Receipt) => void = () => undefined
  return {
    wait(page: Page): string {
      waited.set(page.key, page)
      const [oldest] = waited.keys()
      if (waited.size > NUMBERS_MOST && oldest !== undefined) waited.delete(oldest)
      return page.key
    },
    take(about: string, outcome: Receipt): void {
      const page = waited.get(about)
      if (page === undefined) return
      waited.delete(about)
      if (outcome === 'lost') lost.set(page.address, { name: page.to.name, at: now() })
      else lost.delete(page.address)
      told(page, outcome)
    },
    tell(onReceipt: typeof told): void {
      told = onReceipt
    },
    lost: () => [...lost.values()].filter(({ at }) => now() - at < LOST_TOLD_MS),
  }
}
