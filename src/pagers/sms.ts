import { inBasicAlphabet } from '../sms/alphabet.ts'
import type { Centre } from '../sms/centre.ts'
import type { Page, Pager } from './pager.ts'
import { underWay } from './under-way.ts'

export interface SmsPagerOptions {
  readonly id?: string
  /** Started and stopped by the pager. */
  readonly centre: Centre
  /** How a page is answered by a text message, after its own text; none for a page that only tells. */
  readonly howToAnswer: (page: Page) => string
  /** The name under which the page's receipt is waited for; left out or undefined: none is asked for. */
  readonly receiptOf?: (page: Page) => string | undefined
  /** Stands before a page that may have arrived before. */
  readonly repeatLabel: () => string
}

/**
 * Pages by text message. The centre's answer means that the telephone company took it: only the person's own answer stops
 * a ladder.
 */
export function smsPager(options: SmsPagerOptions): Pager {
  const { centre } = options
  const sends = underWay('text message pager', error => `the text message could not be made (${nameOf(error)})`)
  centre.start()
  return {
    id: options.id ?? 'sms',
    page: page =>
      sends.carry(async () => {
        if (!/^\+\d{7,15}$/.test(page.address)) return { kind: 'refused', reason: 'the address is no telephone number' }
        return centre.send(page.address, textOf(page, options), options.receiptOf?.(page))
      }),
    async stop() {
      await sends.stop()
      await centre.stop()
    },
  }
}

function textOf(page: Page, { howToAnswer, repeatLabel }: SmsPagerOptions): string {
  const label = page.repeated ? `${repeatLabel()}: ` : ''
  return inBasicAlphabet(`${label}${page.text} ${page.kind === 'taken' ? '' : howToAnswer(page)}`)
}

const nameOf = (error: unknown): string => (error instanceof Error ? error.name : typeof error)
