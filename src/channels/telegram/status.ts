import type { Control } from '../../case/message.ts'
import type { Connection, ToSend } from '../../telegram/connection.ts'
import { numbersLine } from '../text-lines.ts'
import { plainText } from '../text-plain.ts'
import type { FamilyFoot, Wording } from '../web-page.ts'
import { chatButtons, type Sign } from './buttons.ts'

/** What the one live message of a case says: never news, only where it stands. */
export interface StatusNow {
  readonly chat: string
  readonly wording: Wording
  readonly foot: FamilyFoot
  /** Lines in the family's language: the code, the clock, who was paged, what comes next. */
  readonly lines: readonly string[]
  readonly controls: readonly Control[]
  readonly canChange: boolean
  readonly isClosed: boolean
}

/** Where the live message of each case stands. Outlives a restart. */
export interface StatusPlaces {
  of(caseId: string): { readonly chat: string; readonly messageId: number } | undefined
  keep(caseId: string, place: { readonly chat: string; readonly messageId: number }): void
  forget(caseId: string): void
  /** Cases that have one. */
  all(): readonly string[]
}

export interface StatusPorts {
  readonly connection: Pick<Connection, 'send' | 'edit' | 'pin'>
  readonly places: StatusPlaces
  readonly sign: Sign
  /** Undefined when the case is gone. */
  statusOf(caseId: string): Promise<StatusNow | undefined>
  readonly clock: { monotonicMs(): number; wake(atMs: number, fn: () => void): () => void }
}

/**
 * One message a case, edited as time goes on: clock, next step, and the buttons for what can be done at any moment. An edit
 * makes no sound, so nothing that a family should act on stands only here.
 */
export interface StatusMessages {
  /** Something was said in the case: its live message is made or brought up to date soon. */
  follow(caseId: string): void
  start(): void
  stop(): void
}

const REFRESH_MS = 60_000

export function statusMessages(ports: StatusPorts): StatusMessages {
  const { connection, places, clock } = ports
  /** The text last shown, so that only a change is sent. */
  const shown = new Map<string, string>()
  const underWay = new Set<string>()
  const wanted = new Set<string>()
  let cancel: (() => void) | undefined
  let isStopped = false

  async function refresh(caseId: string): Promise<void> {
    const now = await ports.statusOf(caseId)
    if (now === undefined || isStopped) return forget(caseId)
    const message = messageOf(now, ports.sign)
    const key = JSON.stringify(message)
    const place = places.of(caseId)
    if (place === undefined) {
      if (now.isClosed) return
      const sent = await connection.send(now.chat, message)
      if (sent.kind !== 'done') return
      places.keep(caseId, { chat: now.chat, messageId: sent.result })
      shown.set(caseId, key)
      void connection.pin(now.chat, sent.result)
      return
    }
    if (shown.get(caseId) !== key) {
      const edited = await connection.edit(place.chat, place.messageId, message)
      if (edited.kind === 'done') shown.set(caseId, key)
      // The family removed it: it is made anew with the next reply.
      else if (edited.kind === 'refused') return forget(caseId)
    }
    if (now.isClosed) forget(caseId)
  }

  function forget(caseId: string): void {
    places.forget(caseId)
    shown.delete(caseId)
  }

  /** One at a time a case, and once more where it was asked for meanwhile. */
  function go(caseId: string): void {
    if (isStopped) return
    if (underWay.has(caseId)) return void wanted.add(caseId)
    underWay.add(caseId)
    void refresh(caseId)
      .catch(() => undefined)
      .finally(() => {
        underWay.delete(caseId)
        if (wanted.delete(caseId)) go(caseId)
      })
  }

  function tick(): void {
    for (const caseId of places.all()) go(caseId)
    cancel = clock.wake(clock.monotonicMs() + REFRESH_MS, tick)
  }

  return {
    follow: go,
    start() {
      cancel = clock.wake(clock.monotonicMs() + REFRESH_MS, tick)
    },
    stop() {
      isStopped = true
      cancel?.()
    },
  }
}

function messageOf({ chat, wording, foot, lines, controls, canChange }: StatusNow, sign: Sign): ToSend {
  const buttons = chatButtons(chat, sign, wording)
  const pressable = controls.filter(
    control => control !== 'show-handover' && control !== 'change' && control !== 'start',
  )
  return {
    text: [...lines.map(plainText), '', numbersLine(foot)].join('\n'),
    buttons: [
      ...pressable.map(control => [buttons.control(control, wording(`control-${control}`))]),
      ...(controls.includes('show-handover') ? [[buttons.menu('desk', wording('control-show-handover'))]] : []),
      ...(canChange ? [[buttons.menu('change', wording('telegram-change'))]] : []),
    ],
    silent: true,
  }
}
