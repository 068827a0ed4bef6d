/** Plays a script on the running bot, line by line, and says at its end whether it went as the script wants. */
import type { Answer } from '../case/answer.ts'
import type { Effect } from '../case/effect.ts'
import type { ChatRef, Incoming, Outgoing, Question } from '../case/message.ts'
import { type CaseState, openCase, parseState } from '../case/state.ts'
import { settingsWith } from '../config/settings.ts'
import {
  actText,
  readScript,
  ScriptBroken,
  type ScriptLine,
  type Wanted,
  wantedText,
} from '../modelcheck/telling/script.ts'
import { amiss } from '../modelcheck/telling/seen.ts'
import { codeIn, parkedOf } from '../runtime/parking.ts'
import type { Runtime } from '../runtime/runtime.ts'
import type { Store } from '../store/store.ts'
import type { Instant } from '../time/instant.ts'
import { tapped } from '../understand/moment.ts'
import { CalledWrongly } from './command.ts'
import type { LoadedLine } from './load-line.ts'

/** A script as read: what it sets beforehand, and its lines. */
export interface Script {
  readonly at?: Instant
  readonly policies: Readonly<Record<string, string>>
  /** Language of the family's screen; left out: the first of the clinic's. */
  readonly language?: string
  readonly lines: readonly ScriptLine[]
}

/** Reads a script file's text. `CalledWrongly` names the line that cannot be taken. */
export function scriptOf(text: string, file: string): Script {
  const lines = linesOf(text, file)
  const policies: Record<string, string> = {}
  let at: Instant | undefined
  let language: string | undefined
  for (const line of lines) {
    if (line.kind === 'language') language = line.language
    if (line.kind === 'policy') policies[line.policy] = line.value
    if (line.kind === 'at') at = Date.parse(line.at) as Instant
  }
  if (at !== undefined && Number.isNaN(at))
    throw new CalledWrongly(`${file}: "at" and an instant such as 2026-03-01T07:10:00Z was expected`)
  return {
    policies,
    lines,
    ...(at === undefined ? {} : { at }),
    ...(language === undefined ? {} : { language }),
  }
}

function linesOf(text: string, file: string): readonly ScriptLine[] {
  try {
    return readScript(text)
  } catch (error) {
    if (error instanceof ScriptBroken) throw new CalledWrongly(`${file}: ${error.message}`)
    throw error
  }
}

/** What the script says is known when the case begins. `CalledWrongly` for a fact or value that is not there. */
export function knownIn(script: Script, { line }: LoadedLine, at: Instant): Readonly<Record<string, Answer>> {
  const known: Record<string, Answer> = {}
  for (const each of script.lines) {
    if (each.kind !== 'act' || each.act.kind !== 'knows') continue
    const { fact, values } = each.act
    const document = line.flows.facts[fact]
    const [value = ''] = values
    const isListed = values.every(one => document?.values?.includes(one) === true)
    const time = document === undefined ? undefined : tapped(value, document, timeContext(line, at))
    if (value === 'not-sure') known[fact] = { kind: 'unsure' }
    else if (time !== undefined) known[fact] = time
    else if (document?.kind === 'many' && isListed) known[fact] = { kind: 'many', values }
    else if (document?.kind === 'choice' && isListed) known[fact] = { kind: 'choice', value }
    else
      throw new CalledWrongly(
        `"knows ${fact} ${values.join(' ')}": a fact of the flows and one of its answers was expected`,
      )
  }
  return known
}

const timeContext = ({ clinic, language }: LoadedLine['line'], at: Instant) => ({ at, zone: clinic.zone, language })

export interface PlayPorts {
  readonly loaded: LoadedLine
  readonly store: Store
  readonly runtime: Pick<Runtime, 'receive'>
  readonly settled: () => Promise<void>
  readonly now: () => Instant
  readonly chat: ChatRef
  readonly print: (text: string) => void
}

export interface Play {
  /** Lines for the terminal to take as typed; what is tapped is sent from here as they are asked for. */
  readonly lines: AsyncIterable<string>
  /** Tells the play what the family has just read. */
  noted(outgoing: Outgoing): void
  /** After the last line: whether it went as wanted. */
  ended(): Promise<boolean>
}

export function scriptPlay(script: Script, ports: PlayPorts): Play {
  const { print } = ports
  const wanted: Wanted[] = []
  let open: Question | undefined
  let sent = 0
  let from: Standing | undefined
  let leftOut: string | undefined

  async function send(body: Incoming['body'], shown: string): Promise<void> {
    print(`> ${shown}`)
    sent++
    const incoming: Incoming = { ...ports.chat, deliveryId: `script.${sent}`, at: ports.now(), body }
    await ports.runtime.receive(inLanguageOf(script, incoming))
    await ports.settled()
  }

  async function tap(question: Question, values: readonly string[]): Promise<void> {
    const labels = values.map(value => question.options.find(option => option.value === value)?.label ?? value)
    await send({ kind: 'choice', serial: question.serial, values }, `[${labels.join(', ')}]`)
  }

  /** The open question, if it is about the fact; otherwise the rest of the script cannot be played. */
  function asked(fact: string, line: string): Question | undefined {
    if (open?.fact === fact) return open
    leftOut = `"${line}": ${fact} is not asked there any more${open === undefined ? '' : `, ${open.fact} is`}`
    return undefined
  }

  async function* lines(): AsyncGenerator<string> {
    for (const line of script.lines) {
      if (leftOut !== undefined) return
      if (line.kind === 'typed') yield line.text
      if (line.kind === 'wanted') {
        from ??= await standing(ports)
        wanted.push(line.wanted)
      }
      if (line.kind === 'act') yield* play(line.act)
    }
  }

  async function* play(act: (ScriptLine & { kind: 'act' })['act']): AsyncGenerator<string> {
    switch (act.kind) {
      case 'knows':
        return
      case 'start':
        return send({ kind: 'choice', serial: 0, values: [act.concern] }, `[${act.concern}]`)
      case 'tap': {
        const question = asked(act.fact, actText(act))
        return question === undefined ? undefined : tap(question, act.values)
      }
      case 'write': {
        if (asked(act.fact, actText(act)) === undefined) return
        yield act.text
        if (open?.fact === act.fact && isReadBack(open)) await tap(open, ['yes'])
        return
      }
      case 'change':
      case 'say':
      case 'control':
      case 'wait':
        yield actText(act)
    }
  }

  return {
    lines: lines(),
    noted(outgoing) {
      open = outgoing.parts.findLast(part => part.kind === 'question') ?? open
    },
    async ended() {
      if (leftOut !== undefined) {
        print(`\nThe conversation goes another way now. ${leftOut}.`)
        print('The rest of the script was left out. "smallhours check" says whether another way leads there.')
      }
      if (wanted.length === 0) return true
      if (from === undefined) return true
      // What had to come may come on the other way: only what must never come can be judged.
      const judged = leftOut === undefined ? wanted : wanted.filter(({ sense }) => sense === 'never')
      return judged.length === 0 ? true : isAsWanted(ports, from, judged)
    },
  }
}

/** A message as it comes from a screen in the script's language. */
export function inLanguageOf(
  script: { readonly language?: string | undefined } | undefined,
  incoming: Incoming,
): Incoming {
  return script?.language === undefined ? incoming : { ...incoming, language: script.language }
}

const isReadBack = ({ accepts, options }: Question): boolean =>
  accepts === 'moment' && options.length === 2 && options.every(({ value }) => value === 'yes' || value === 'no')

/** Where a case stood: at event number 0 it had not begun. */
interface Standing {
  readonly seq: number
  readonly state: CaseState | undefined
}

async function standing({ store, chat, loaded }: PlayPorts): Promise<Standing> {
  const [stored] = await store.casesOf(chat)
  return stored === undefined
    ? { seq: 0, state: undefined }
    : { seq: stored.seq, state: parseState(loaded.line, stored.state) }
}

async function isAsWanted(
  { store, chat, loaded, now, print }: PlayPorts,
  from: Standing,
  wanted: readonly Wanted[],
): Promise<boolean> {
  const [stored] = await store.casesOf(chat)
  if (stored === undefined) return false
  if (parkedOf(stored.state) !== undefined) {
    print(`\nNOT AS WANTED: the flow could not go on, and case ${codeIn(stored.state) ?? ''} was handed to people.`)
    return false
  }
  const history = await store.history(stored.caseId)
  const effectsOf = (isMeant: (seq: number) => boolean) =>
    history.filter(({ seq }) => isMeant(seq)).flatMap(({ effects }) => JSON.parse(effects) as Effect[])
  const after = parseState(loaded.line, stored.state)
  const wrong = amiss(
    {
      line: loaded.line,
      before: from.state ?? openCase(loaded.line, { ...after, at: after.openedAt }),
      after,
      at: now(),
      effects: effectsOf(seq => seq > from.seq),
      earlier: effectsOf(seq => seq <= from.seq),
    },
    wanted,
  )
  print(wrong.length === 0 ? '\nAs wanted:' : '\nNOT AS WANTED:')
  for (const each of wrong.length === 0 ? wanted : wrong) print(`  ${wantedText(each)}`)
  return wrong.length === 0
}

/** A script's clock begins here, ten past two at night at the invented clinic, unless it or the call says otherwise. */
export const FIRST_AT = Date.parse('2026-03-01T07:10:00Z') as Instant

/** The line with policies as a script has them, `CalledWrongly` for one that there is not. */
export function withPolicies(loaded: LoadedLine, policies: Readonly<Record<string, string>>): LoadedLine {
  const { settings, faults } = settingsWith(loaded.line.settings as never, policies)
  const [fault] = faults
  if (fault !== undefined)
    throw new CalledWrongly(`policy ${fault.id}: ${fault.found} stands there; ${fault.expected} was expected`)
  return { ...loaded, line: { ...loaded.line, settings } }
}
