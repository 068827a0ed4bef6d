import type { Draws } from './draws.ts'
import { textOf } from './family-page.ts'
import type { Ledger } from './ledger.ts'
import type { PageReceived } from './receivers.ts'
import { CLINICIAN_WORDS } from './sayings.ts'
import type { WebAnswer, WebPhone } from './web-phone.ts'

/** Everyone on the ladder: each page is answered after a while, or never, by opening its link and pressing. */
export interface Clinicians {
  received(page: PageReceived): void
  /** Nothing is pressed any more. */
  stop(): void
}

export interface CliniciansOptions {
  readonly phone: WebPhone
  readonly draws: Draws
  readonly ledger: Ledger
}

/** Share of pages that are never answered, and the median of the others' delay. */
const NEVER = 0.15
const MEDIAN_SECONDS = 180

export function clinicians({ phone, draws, ledger }: CliniciansOptions): Clinicians {
  const timers = new Set<NodeJS.Timeout>()
  const decided = new Set<string>()
  let isOver = false

  function later(seconds: number, act: () => Promise<void>): void {
    if (isOver) return
    const timer = setTimeout(() => {
      timers.delete(timer)
      if (!isOver)
        act().catch(error => ledger.count(`clinician's connection lost: ${(error as Error).message.slice(0, 40)}`))
    }, seconds * 1_000)
    timers.add(timer)
  }

  /** Presses one button of a case's page. */
  async function press(path: string, fields: readonly (readonly [string, string])[]): Promise<WebAnswer> {
    const answer = await phone.post(path, fields)
    ledger.count(answer.status === 303 ? 'clinician presses done' : `clinician presses answered ${answer.status}`)
    return answer
  }

  async function answerPage({ path, caseId }: PageReceived): Promise<void> {
    const opened = await phone.get(path)
    if (opened.status !== 200) {
      ledger.broken.push({ promise: 'none-refused', what: `a page's link was answered ${opened.status}` })
      return
    }
    const nonce = nonceOn(opened.body)
    if (draws.chance(0.1)) {
      const passed = await press(path, [
        ['nonce', nonce],
        ['do', 'pass-on'],
      ])
      if (passed.status === 303) ledger.happenings.push({ kind: 'passed-on', caseId, at: Date.now() })
      return
    }
    const times = [...opened.body.matchAll(/name="by" value="(\d+)"/g)].map(([, by = '']) => Number(by))
    const by = draws.pick(times)
    const doing = draws.pick(['ringing-now', 'ringing-now', 'ringing-by', 'ringing-by', 'go-in'])
    const fields: (readonly [string, string])[] = [
      ['nonce', nonce],
      ['do', doing],
    ]
    if (doing === 'ringing-by') fields.push(['by', String(by)])
    const taken = await press(path, fields)
    if (taken.status !== 303) return
    const at = Date.now()
    const callBy = doing === 'ringing-now' ? at : doing === 'ringing-by' ? by : undefined
    ledger.happenings.push({ kind: 'taken', caseId, at, callBy })
    ledger.count('cases taken')
    if (draws.chance(0.3)) later(draws.around(20, 0.5, 3, 60), () => writeTo(path))
    // Some forget the call they promised: the bot must notice.
    if (draws.chance(0.85)) later(draws.around(80, 0.6, 5, 280), () => spoke(path, caseId))
  }

  async function writeTo(path: string): Promise<void> {
    const opened = await phone.get(path)
    const code = codeOn(opened.body)
    const planted = `zq${draws.letters(8)}`
    if (code === undefined) return
    ledger.plantedFor(code, planted)
    const text = `${draws.pick(CLINICIAN_WORDS)} ${planted}`
    const fields: (readonly [string, string])[] = [
      ['nonce', nonceOn(opened.body)],
      ['do', 'write'],
      ['text', text],
    ]
    const isTwice = draws.chance(0.2)
    const answers = await Promise.all(isTwice ? [press(path, fields), press(path, fields)] : [press(path, fields)])
    if (answers.some(({ status }) => status === 303)) {
      ledger.written.push({ code, planted, at: Date.now() })
      ledger.count('clinician messages')
    }
  }

  async function spoke(path: string, caseId: string): Promise<void> {
    const opened = await phone.get(path)
    const said = await press(path, [
      ['nonce', nonceOn(opened.body)],
      ['do', 'spoken'],
    ])
    if (said.status !== 303) return
    ledger.happenings.push({ kind: 'spoken', caseId, at: Date.now() })
    if (draws.chance(0.7)) later(draws.around(90, 0.6, 10, 400), () => settle(path, caseId))
  }

  async function settle(path: string, caseId: string): Promise<void> {
    const opened = await phone.get(path)
    const outcomes = [...opened.body.matchAll(/name="outcome" value="([\w-]+)"/g)].map(([, value = '']) => value)
    if (outcomes.length === 0) return
    const outcome = draws.pick(outcomes)
    const set = await press(path, [
      ['nonce', nonceOn(opened.body)],
      ['do', 'outcome'],
      ['outcome', outcome],
    ])
    if (set.status !== 303) return
    ledger.happenings.push({ kind: 'settled', caseId, at: Date.now() })
    ledger.count('outcomes set')
  }

  return {
    received(page) {
      ledger.pages.push(page)
      if (/\bzq[a-z]{8}\b/.test(page.text))
        ledger.broken.push({ promise: 'own-words-only', what: 'a page tells a family’s words' })
      const { said, caseId, at } = page
      if (said === undefined) return
      const urgency = said.urgency === 'speak' ? 'speak' : 'urgent'
      if (said.kind !== 'page' && said.kind !== 'repeat' && said.kind !== 'update') return
      ledger.happenings.push({ kind: said.kind, caseId, at, urgency })
      if (said.kind === 'update' || decided.has(page.id)) return
      decided.add(page.id)
      if (!draws.chance(NEVER)) later(draws.around(MEDIAN_SECONDS, 0.8, 5, 1_500), () => answerPage(page))
    },
    stop() {
      isOver = true
      for (const timer of timers) clearTimeout(timer)
      timers.clear()
    },
  }
}

const nonceOn = (markup: string): string => /name="nonce" value="([^"]+)"/.exec(markup)?.[1] ?? ''
const codeOn = (markup: string): string | undefined =>
  /\b((?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{4})\b/.exec(textOf(markup.slice(markup.indexOf('class="state"'))))?.[1]
