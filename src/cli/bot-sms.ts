/** Text messages: pages that go out, and what comes back. Loaded only where a clinic pages by them. */
import { readFileSync } from 'node:fs'
import type { Wording } from '../channels/web-page.ts'
import type { PagerRoutes } from '../config/pager-section.ts'
import type { Pager } from '../pagers/pager.ts'
import { smsPager } from '../pagers/sms.ts'
import type { Clock } from '../runtime/clock.ts'
import { type Centre, type CentreOptions, shortMessageCentre } from '../sms/centre.ts'
import type { Instant } from '../time/instant.ts'
import { howToAnswer } from './sms-answers.ts'
import { type OnReceipt, pageReceipts } from './sms-receipts.ts'

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
  receiptsTo(onReceipt: OnReceipt): void
  /** People whose last page by text message did not get to their telephone, and when that was told. */
  lost(): readonly { readonly name: string; readonly at: Instant }[]
}

/** The same words are not sent to one number again within this time: at the other end may be a machine that answers. */
const NOT_AGAIN_WITHIN_MS = 600_000
const NUMBERS_MOST = 1_000

/** Where pages are kept whose receipts are waited for; left out: in memory. */
export interface ReceiptsKept {
  readonly file: string
  readonly onFault: (error: unknown) => void
}

export function openSms(
  route: NonNullable<PagerRoutes['sms']>,
  now: Clock['now'],
  wording: () => Wording,
  kept?: ReceiptsKept,
): BotSms {
  const { passwordFile, takesFamilies, ...centre } = route
  return smsOver({ ...centre, password: readFileSync(passwordFile, 'utf8').trim() }, now, wording, {
    takesFamilies,
    ...(kept === undefined ? {} : { kept }),
  })
}

/** The same over a centre that is not in the clinic's file: a demonstration's own. */
export function smsOver(
  options: Omit<CentreOptions, 'onMessage' | 'onReceipt' | 'waited'>,
  now: Clock['now'],
  wording: () => Wording,
  { takesFamilies = false, kept }: { readonly takesFamilies?: boolean; readonly kept?: ReceiptsKept } = {},
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
  const receipts = pageReceipts(now, kept?.file, kept?.onFault ?? (() => undefined))
  const centre = shortMessageCentre({
    ...options,
    onReceipt: receipts.take,
    waited: receipts.waited,
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
