import type { Page, Pager } from './pager.ts'

/** Pages shown on the clinicians' own screen. They are in the store; here is only what came lately, to redraw by. */
export interface BoardPager extends Pager {
  /** Latest first. */
  recent(): readonly Page[]
  /** Calls `listener` for every page from now on; returns a function that ends it. */
  onPage(listener: (page: Page) => void): () => void
}

/**
 * A pager that accepts at once. Accepted means shown, not seen: only an acknowledgement stops a ladder.
 * @param options.keep how many pages to remember; a page sent again takes its earlier one's place
 */
export function boardPager(options: { readonly id?: string; readonly keep?: number } = {}): BoardPager {
  const keep = options.keep ?? 200
  const listeners = new Set<(page: Page) => void>()
  let pages: readonly Page[] = []
  return {
    id: options.id ?? 'board',
    page: async page => {
      pages = [page, ...pages.filter(one => one.key !== page.key)].slice(0, keep)
      // Apart from the caller: a screen that fails to redraw is no failed page.
      for (const listener of listeners) queueMicrotask(() => listener(page))
      return { kind: 'accepted' }
    },
    recent: () => pages,
    onPage: listener => {
      listeners.add(listener)
      return () => listeners.delete(listener)
    },
    stop: async () => listeners.clear(),
  }
}
