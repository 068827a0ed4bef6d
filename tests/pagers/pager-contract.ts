import { describe, expect, it } from 'vitest'
import { fitPageText } from '../../src/pagers/page-text.ts'
import type { Page, Paged, Pager } from '../../src/pagers/pager.ts'
import { aPage } from './a-page.ts'

/** What can happen to a page on its way. */
export type Trouble =
  /** The other side will never take it. */
  | 'refused'
  /** It takes none now. */
  | 'busy'
  /** It took the page, and its answer never came. */
  | 'lost-answer'
  /** It was given the page, and says nothing at all. */
  | 'silent'
  /** Nobody is there. */
  | 'down'
  /** It answers, late. */
  | 'slow'

/** A pager with another side that does what a test says. */
export interface PagerBench {
  readonly pager: Pager
  /** An address this pager takes. */
  readonly address: string
  /** Everything that reached the other side, oldest first: each page as whoever is paged, or their machine, gets it. */
  arrived(): readonly string[]
  /** The next page meets this. */
  trouble?(what: Trouble): void | Promise<void>
  readonly troubles: readonly Trouble[]
  /** Words that the clinic lets this way carry beside the page's own: nothing else of the case or the person may leave. */
  readonly mayCarry: readonly (keyof typeof IDENTIFIERS)[]
  stop(): Promise<void>
}

/** What of a page says whose it is. */
const IDENTIFIERS = {
  'who is paged': 'Dr Example',
  'their id': 'first-nurse',
  'the id of the case': 'case-91',
  'the key': 'case-91/4/0#0',
} as const

/**
 * What each end of a page may be called. That it did not arrive may be said only where it cannot have: a ladder goes on
 * sooner or later by it, and a second page says that it may be a repeat.
 */
const OUTCOMES: Readonly<Record<Trouble, readonly Paged['kind'][]>> = {
  refused: ['refused'],
  busy: ['failed'],
  'lost-answer': ['unknown'],
  silent: ['unknown'],
  down: ['failed'],
  slow: ['accepted'],
}

/** Longest wait for any outcome here; `runtime/lane.ts` gives a page up after ten seconds of its own. */
const OUTCOME_MS = 5_000

/** What every way to reach a clinician must hold. */
export function pagerContract(name: string, make: () => Promise<PagerBench>): void {
  describe(`${name}: what every pager holds`, { timeout: 30_000 }, () => {
    const using = async (work: (bench: PagerBench) => Promise<void>): Promise<void> => {
      const bench = await make()
      try {
        await work(bench)
      } finally {
        await bench.stop()
      }
    }
    let keys = 0
    const pageFor = ({ address }: PagerBench, more: Partial<Page> = {}): Page => {
      keys += 1
      return aPage({
        ...{ address, caseId: IDENTIFIERS['the id of the case'], to: { id: 'first-nurse', name: 'Dr Example' } },
        key: `case-91/4/0#${keys}`,
        ...more,
      })
    }

    it('a page arrives once, whole, its first words first, with its link', () =>
      using(async bench => {
        const page = pageFor(bench)
        expect(await bench.pager.page(page)).toEqual({ kind: 'accepted' })
        expect(bench.arrived()).toHaveLength(1)
        expect(bench.arrived()[0]).toContain(page.text)
        expect(page.text).toContain(page.link)
      }))

    it('the longest page there is arrives whole', () =>
      using(async bench => {
        const link = 'https://clinic.example/p/7KQ2M9XD'
        const text = fitPageText(
          ['GO TO HOSPITAL, told 02:13.', ...Array.from({ length: 40 }, () => 'Tube out.')],
          link,
        )
        expect(text.length).toBeGreaterThan(290)
        expect(await bench.pager.page(pageFor(bench, { text, link }))).toEqual({ kind: 'accepted' })
        expect(bench.arrived()[0]).toContain(text)
      }))

    it('nothing leaves that says whose page or which case it is, but what this way is meant to carry', () =>
      using(async bench => {
        await bench.pager.page(pageFor(bench, { key: IDENTIFIERS['the key'] }))
        const carried = bench.arrived().join('\n')
        for (const [what, words] of Object.entries(IDENTIFIERS)) {
          if (bench.mayCarry.includes(what as keyof typeof IDENTIFIERS)) continue
          // A name that stands in something longer that is allowed is not told apart: ids here are no part of the address.
          expect(carried, what).not.toContain(words)
        }
      }))

    it('the same page once more is the same one, and says that it may be a repeat', () =>
      using(async bench => {
        const page = pageFor(bench)
        await bench.pager.page(page)
        expect(await bench.pager.page({ ...page, repeated: true })).toEqual({ kind: 'accepted' })
        const [first = '', second] = bench.arrived()
        // A way that knows who took it lets it be. Any other says so, and where machines read it gives both the one id.
        if (second === undefined) return
        expect(second).toMatch(/may be a repeat|"repeated":true/i)
        const id = /^(?:webhook-id|message-id): (.+)$/im
        expect(id.exec(second)?.[1]).toBe(id.exec(first)?.[1])
      }))

    it('every trouble on the way is a value that tells the truth and nothing of the page; the next page goes', () =>
      using(async bench => {
        for (const trouble of bench.troubles) {
          await bench.trouble?.(trouble)
          const page = pageFor(bench)
          const started = performance.now()
          const outcome = await bench.pager.page(page)
          expect(performance.now() - started, trouble).toBeLessThan(OUTCOME_MS)
          expect(OUTCOMES[trouble], `${trouble}: ${JSON.stringify(outcome)}`).toContain(outcome.kind)
          if (outcome.kind === 'accepted') continue
          for (const words of [page.address, page.code, page.link, 'HOSPITAL', ...Object.values(IDENTIFIERS)])
            if (words !== '') expect(outcome.reason, trouble).not.toContain(words)
        }
        if (bench.troubles.includes('busy') || bench.troubles.includes('down')) return
        expect(await bench.pager.page(pageFor(bench))).toEqual({ kind: 'accepted' })
      }))

    it('twenty pages at once arrive, each once', () =>
      using(async bench => {
        const pages = Array.from({ length: 20 }, (_, place) => {
          const text = `SPEAK TO FAMILY, told 02:13. Number ${place + 100}. https://clinic.example/p/7K`
          return pageFor(bench, { text, urgency: 'speak' })
        })
        const outcomes = await Promise.all(pages.map(page => bench.pager.page(page)))
        expect(outcomes.filter(({ kind }) => kind !== 'accepted')).toEqual([])
        for (const { text } of pages) expect(bench.arrived().filter(one => one.includes(text))).toHaveLength(1)
      }))

    it('stopping twice is stopping once, and a page after it is an outcome, not an error', () =>
      using(async bench => {
        await bench.pager.stop()
        await bench.pager.stop()
        expect(['accepted', 'failed', 'unknown', 'refused']).toContain((await bench.pager.page(pageFor(bench))).kind)
      }))
  })
}
