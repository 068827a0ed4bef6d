import fc from 'fast-check'
import type { Answer } from '../../src/case/answer.ts'
import type { CaseEvent } from '../../src/case/event.ts'
import { instant } from '../../src/time/instant.ts'
import { AMARA, type CaseTalk, MIN } from '../support/case-talk.ts'

/** Something that may happen to a case, drawn before the case is known. */
export type Drawn =
  | { readonly kind: 'answer' }
  | { readonly kind: 'change'; readonly pick: number }
  | { readonly kind: 'wait'; readonly minutes: number }
  | { readonly kind: 'event'; readonly event: CaseEvent }

const said = 'my name is Zebedee, ring me'
const plain: readonly CaseEvent[] = [
  { kind: 'dangerSaid', signs: ['fit'], said },
  { kind: 'wrongTapSaid' },
  { kind: 'personWanted', said },
  { kind: 'travelRefused', said },
  { kind: 'familyRungSaid' },
  { kind: 'notUnderstood', reason: 'not-an-option', said },
  { kind: 'greeted' },
  { kind: 'staleAnswer', serial: 1, said },
  { kind: 'resumed', downSince: instant(0) },
  { kind: 'pageAcknowledged', by: AMARA, doing: { kind: 'ringing-now' } },
  { kind: 'pageAcknowledged', by: AMARA, doing: { kind: 'go-in' } },
  { kind: 'passedOn', by: AMARA },
  { kind: 'callMade', by: AMARA },
  { kind: 'pageSettled', pageId: 'p', to: 'amara', outcome: 'given-up' },
  { kind: 'alarmStopped', by: AMARA, name: 'leave-by' },
  { kind: 'rotaChanged', by: AMARA },
  { kind: 'dayTaken', by: AMARA, taker: { id: 'malia', name: 'Malia Kealoha', role: 'ward clerk' } },
]

/** Any happening; answers more often than the rest. */
export const anEvent: fc.Arbitrary<Drawn> = fc.oneof(
  { weight: 8, arbitrary: fc.constant<Drawn>({ kind: 'answer' }) },
  { weight: 1, arbitrary: fc.nat(20).map((pick): Drawn => ({ kind: 'change', pick })) },
  { weight: 2, arbitrary: fc.integer({ min: 1, max: 45 }).map((minutes): Drawn => ({ kind: 'wait', minutes })) },
  { weight: 3, arbitrary: fc.constantFrom(...plain).map((event): Drawn => ({ kind: 'event', event })) },
)

/** Lets it happen. A question without a drawn answer (a follow-up) is answered with yes. */
export function happens(talk: CaseTalk, drawn: Drawn, answers: Readonly<Record<string, Answer>>): void {
  switch (drawn.kind) {
    case 'answer': {
      const open = talk.asked()
      if (open !== undefined && talk.state.open?.readBack === undefined)
        talk.answers(open, answers[open] ?? { kind: 'choice', value: 'yes' })
      return
    }
    case 'change': {
      const known = Object.keys(talk.state.answers)
      const fact = known[drawn.pick % Math.max(1, known.length)]
      if (fact !== undefined) talk.does({ kind: 'changeWanted', fact })
      return
    }
    case 'wait':
      talk.waits(drawn.minutes)
      return
    case 'event':
      if (drawn.event.kind === 'pageAcknowledged' && talk.pages().length === 0) return
      talk.now = instant(talk.now + MIN / 2)
      talk.does(drawn.event)
  }
}
