/** Understanding, bound to one line: the open question of a case beside the words said. */
import { type Line, wordingOf } from '../case/line.ts'
import { questionOf } from '../case/render.ts'
import type { CaseState } from '../case/state.ts'
import type { Understand, Understood } from '../runtime/understanding.ts'
import type { Instant } from '../time/instant.ts'
import { readDate, readDuration, readMoment } from '../time/phrases.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import { understand, type UnderstandContext, type Understood as Read } from '../understand/understand.ts'

type Region = UnderstandContext['defaultRegion']

export function botUnderstanding(line: Line, lexicon: Lexicon, region: Region): Understand {
  return ({ body, state: running, at }) => {
    const state = running as CaseState | undefined
    const open = state?.open
    if (body.kind === 'choice' && state !== undefined && body.serial !== open?.serial) return { kind: 'stale', serial: body.serial, said: body.values.join(', ') }
    const document = open === undefined ? undefined : line.flows.facts[open.fact]
    const read = understand(body, {
      ...(state === undefined || open === undefined ? {} : { question: askedOf(line, state, open, at) }),
      ...(document === undefined || open === undefined ? {} : { fact: { ...document, id: open.fact } }),
      ...(open?.readBack === undefined ? {} : { readBack: true }),
      lexicon,
      at,
      zone: line.clinic.zone,
      defaultRegion: region,
      times: { readMoment: text => readMoment(text, timed(line, at)), readDate: text => readDate(text, timed(line, at)), readDuration: text => readDuration(text, timed(line, at)) },
    })
    return withSerial(read, open)
  }
}

const timed = (line: Line, at: Instant) => ({ at, zone: line.clinic.zone, language: 'en' as const })

function askedOf(line: Line, state: CaseState, open: NonNullable<CaseState['open']>, at: Instant) {
  return questionOf(line, state, open.serial, open.fact, wordingOf(line, state.concern), at)
}

/** The runtime's shape: answers carry the question they belong to. */
function withSerial(read: Read, open: CaseState['open']): Understood {
  switch (read.kind) {
    case 'answer':
      return { ...read, serial: open?.serial ?? 0, fact: open?.fact ?? '' }
    case 'read-back':
      return { ...read, serial: open?.serial ?? 0 }
    case 'concern': {
      const [concern] = read.concerns
      const facts = Object.fromEntries(Object.entries(read.facts).filter(([fact]) => !(fact in read.readBacks)))
      return concern === undefined ? { kind: 'misread', reason: 'not-now', said: read.said } : { kind: 'concern', concern, said: read.said, facts }
    }
    case 'they-rang':
    case 'wrong-tap':
      return { kind: read.kind, said: '' }
    case 'change':
      return { kind: 'change', fact: read.fact, said: '' }
    case 'control':
      return { kind: 'misread', reason: 'not-now', said: '' }
    default:
      return read
  }
}
