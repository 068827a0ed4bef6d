import type { Outgoing } from '../../src/case/message.ts'
import type { OutboxRow } from '../../src/store/store.ts'
import type { Page } from './visit.ts'

/** The family's page, and how often a reply stands on it. */
export interface SeenPage {
  seen(row: OutboxRow): number
}

/**
 * Replies in the same words (a question asked again) are told apart by their number: as many lines of the page as there
 * are such replies is once for each.
 */
export function seenPage({ markup }: Page, rows: readonly OutboxRow[]): SeenPage {
  const lines = [...markup.matchAll(/<article[\s\S]*?<\/article>/g)].map(([article]) =>
    bare(article).replace(/^\d+ \d+ [ap]m (Clinic s bot|You) /, ''),
  )
  const wordsOf = (row: OutboxRow): string => {
    const { parts } = JSON.parse(row.content ?? '{"parts":[]}') as Outgoing
    return bare(parts.map(part => part.text).join(' '))
  }
  return {
    seen(row) {
      const words = wordsOf(row)
      if (words === '') return 1
      const alike = rows.filter(one => one.lane === 'family' && wordsOf(one) === words).length
      return lines.filter(line => line === words).length - alike + 1
    },
  }
}

/** Words and figures alone: what a person reads. */
const bare = (text: string): string =>
  text
    .replace(/<[^>]*>/g, ' ')
    .replace(/&#39;/g, "'")
    .replace(/&quot;/g, '"')
    .replace(/[^\p{L}\p{N}]+/gu, ' ')
    .trim()
