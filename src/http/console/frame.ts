import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'
import type { Instant } from '../../time/instant.ts'

/** What a page of the console is put together with. */
export interface ConsoleFrame {
  readonly wording: Wording
  readonly clockText: (at: Instant) => string
  /** Nonce of this page's forms. */
  readonly formNonce: string
  /** What the last press did, or why it did nothing. */
  readonly note?: string
}

export function form({ formNonce }: Pick<ConsoleFrame, 'formNonce'>, action: string, inside: Html): Html {
  return html`<form method="post" action="${action}"><input type="hidden" name="nonce" value="${formNonce}">${inside}</form>`
}
