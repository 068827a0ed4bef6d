import type { Wording } from '../channels/web-page.ts'

/** A way of paging in words: "e-mail", "signed web hook". */
export const wayText = (pager: string, wording: Wording): string => wording(`by-${pager === 'smtp' ? 'mail' : pager}`)
