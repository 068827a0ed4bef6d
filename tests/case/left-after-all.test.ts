import { expect, it } from 'vitest'
import { aTalk, phone, takes } from '../support/case-talk.ts'

it('whoever left after all is no longer taken for unable to travel, in talk and on the page', () => {
  const talk = aTalk(undefined, 'bleeding')
    .says()
    .answersAll({
      'danger-signs': ['none'],
      'first-placed': 'unsure',
      travel: takes(20),
      'ring-back': phone,
      'fasting-risk': ['none'],
    })
  talk.does({ kind: 'travelRefused', said: 'no car' })
  expect(talk.state.marks).toContain('cannot-travel')
  talk.does({ kind: 'leftSaid', said: 'We have left' })
  expect(talk.state.answers['can-travel']).toBeUndefined()
  expect(talk.state.marks).not.toContain('cannot-travel')
  talk.answers('have-you-arrived', 'yes').does({ kind: 'personWanted', said: 'person' })
  expect(talk.said()).not.toContain('ring-transport')
})
