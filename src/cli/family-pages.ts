/** What the pages of a family are made of in one language: numbers, first advice, concerns, clock. */
import { isWorded, type Line } from '../case/line.ts'
import type { Part } from '../case/message.ts'
import { renderReply } from '../case/render.ts'
import { openCase } from '../case/state.ts'
import { step } from '../case/step.ts'
import { clockOf } from '../case/values.ts'
import type { FamilyFoot, Wording } from '../channels/web-page.ts'
import type { Spoken } from '../channels/webchat/family-log.ts'
import { familyNumbers } from '../oncall/family-numbers.ts'
import { numberText } from '../oncall/number-text.ts'
import type { Instant } from '../time/instant.ts'
import { dayText } from '../time/local-time.ts'

/** @param lineNow  speaking the language of the pages, as it is served at the moment */
export function familyPages(lineNow: () => Line, wording: Wording, now: () => Instant): Spoken {
  return {
    clock: {
      now,
      text: at => clockOf(lineNow(), at),
      day: at => dayText(at, lineNow().clinic.zone, now(), lineNow().language),
    },
    foot: () => footOf(lineNow(), wording),
    firstAdvice: () => firstAdviceOf(lineNow(), now()),
    concerns: () => concernsOf(lineNow()),
    wording,
    language: lineNow().language,
  }
}

/** A language's own name for itself, by CLDR. */
export const nameOfLanguage = (tag: string): string => new Intl.DisplayNames(tag, { type: 'language' }).of(tag) ?? tag

/** The numbers at the foot of every page, and those that texts may name. */
export function footOf(line: Line, words: Wording): FamilyFoot {
  const { emergency, clinic, transport, hospitals } = familyNumbers(line.clinic, line.language)
  const named = [{ label: '', ...transport }, ...hospitals.map(({ name, number }) => ({ label: name, ...number }))]
  return {
    emergency: {
      label: words('number-emergency'),
      number: emergency.number,
      shown: numberText(emergency.number),
      ...(emergency.words === undefined ? {} : { words: emergency.words }),
    },
    clinic: {
      label: line.clinic.name,
      number: clinic.number,
      shown: numberText(clinic.number),
      ...(clinic.words === undefined ? {} : { words: clinic.words }),
    },
    namedInTexts: named.map(({ label, number }) => ({ label, number, shown: numberText(number) })),
  }
}

/** What the tube-out flow says first: shown on the first screen before anything is sent. */
function firstAdviceOf(line: Line, at: Instant): Part[] {
  const [concern] = line.flows.flows.keys()
  if (concern === undefined) return []
  const fresh = openCase(line, {
    caseId: 'first',
    chat: { channel: 'none', chat: 'none' },
    at,
    code: '',
    concern: line.flows.flows.has('tube-out') ? 'tube-out' : concern,
    language: line.language,
  })
  const { state, effects } = step(line, fresh, { kind: 'caseOpened', concern: fresh.concern }, at)
  const reply = effects.find(effect => effect.kind === 'reply')
  if (reply?.kind !== 'reply') return []
  return renderReply(line, state, reply, at, { repeated: false }).filter(
    part => part.kind === 'advice' && part.tags.length > 0,
  )
}

/** Every concern that has a flow in this language, in the words families use; tube out first, whatever else last. */
function concernsOf(line: Line): readonly { readonly id: string; readonly label: string }[] {
  const wording = line.flows.wording.get(line.language)
  const order = line.mostUrgentFirst ?? []
  const rank = (id: string) => (id === 'someone' ? Number.MAX_SAFE_INTEGER : order.indexOf(id))
  return [...line.flows.flows.keys()]
    .filter(id => isWorded(line, id, line.language))
    .sort((a, b) => rank(a) - rank(b))
    .map(id => ({ id, label: wording?.has(`option/about/${id}`) === true ? wording.text(`option/about/${id}`) : id }))
}
