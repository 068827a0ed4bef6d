import type { Line } from '../case/line.ts'
import { clockSaidOf } from '../case/values.ts'
import type { TestCalloutPorts } from '../http/console/test-callout-pages.ts'
import type { Instant } from '../time/instant.ts'
import { momentText } from './now-view.ts'
import { openToken } from './page-link.ts'
import type { TestCallouts } from './test-callouts.ts'

/** What the page behind the link of a test call-out tells and takes, wherever it is served. */
export function testCalloutSide(deps: {
  readonly callouts: TestCallouts
  /** Signs the links. */
  readonly key: Buffer
  readonly line: () => Line
  readonly now: () => Instant
}): TestCalloutPorts {
  const { callouts, key, line, now } = deps

  /** The test that a link opens, for the person it was sent to. */
  function opened(token: string) {
    const found = openToken(key, token, line().clinic, now())
    if (typeof found === 'string') return undefined
    const test = callouts.of(found.caseId)
    return test?.who === found.clinician.id ? { test, name: found.clinician.name } : undefined
  }

  return {
    testOf(token) {
      const found = opened(token)
      if (found === undefined) return undefined
      const { at, answeredAt } = found.test
      const answered = answeredAt === undefined ? {} : { answered: clockSaidOf(line(), answeredAt) }
      return { name: found.name, sent: momentText(line(), at, now()), ...answered }
    },
    answer(token) {
      const found = opened(token)
      if (found === undefined) return false
      if (found.test.answeredAt === undefined) callouts.keep({ ...found.test, answeredAt: now() })
      return true
    },
  }
}
