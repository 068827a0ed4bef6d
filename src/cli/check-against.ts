/** What is not the same in two folders of flows: old and new text beside each other, and whose approval lapses with it. */
import { changeText, contentChanges } from '../flow/content-changes.ts'
import type { Instant } from '../time/instant.ts'
import { standings } from './guards.ts'
import { loadLine, type ReadLine } from './load-line.ts'

export interface AgainstRequest {
  readonly clinicDir: string
  readonly flowsDir: string
  /** The folder of flows as it was. */
  readonly against: string
  readonly at: Instant
}

/** Lines to print. What cannot be read is said in place of them. */
export function againstLines({ clinicDir, flowsDir, against, at }: AgainstRequest): readonly string[] {
  const before = loadLine({ clinicDir, flowsDir: against, at })
  const now = loadLine({ clinicDir, flowsDir, at })
  if (before.flows === undefined) return [`${against} cannot be read as flows, so nothing is compared with it.`]
  if (now.flows === undefined) return []
  const lapsing = lapsingIn(before, now, clinicDir, at)
  const was = new Map(before.approvables.map(part => [part.id, part]))
  const changed = now.approvables.filter(part => was.get(part.id)?.hash !== part.hash)
  const gone = before.approvables.filter(({ id }) => !now.approvables.some(part => part.id === id))
  if (changed.length === 0 && gone.length === 0) return [`Nothing that is approved differs from ${against}.`]
  return [
    ...changed.flatMap(part => {
      const old = was.get(part.id)
      if (old === undefined) return ['', `${part.id}: new. It needs two approvals.`]
      const changes = contentChanges(JSON.parse(old.text), JSON.parse(part.text))
      const isWordsOnly = changes.every(({ path }) => /^(wording|screen)\./.test(path))
      return [
        '',
        `${part.id}: ${changes.length} change${changes.length === 1 ? '' : 's'}${isWordsOnly ? ' of words only' : ''}. ${lapseText(lapsing.get(part.id) ?? [])}`,
        ...changes.flatMap(change => changeText(change).split('\n')).map(line => `  ${line}`),
      ]
    }),
    ...gone.flatMap(({ id }) => ['', `${id}: gone. ${lapseText(lapsing.get(id) ?? [])}`]),
  ]
}

const lapseText = (names: readonly string[]): string =>
  names.length === 0 ? 'Nobody had approved it as it was.' : `The approval of ${names.join(' and of ')} lapses.`

/** Names of those who approved a part exactly as it was, by part. */
function lapsingIn(before: ReadLine, now: ReadLine, clinicDir: string, at: Instant): ReadonlyMap<string, string[]> {
  const clinic = now.clinic.asRead
  if (clinic === undefined) return new Map()
  return new Map(
    standings(clinicDir, before.approvables, clinic, at).map(({ subject, counted }) => [
      subject.id,
      counted.map(({ by }) => clinic.people.find(({ id }) => id === by)?.name ?? by),
    ]),
  )
}
