import { expect, it } from 'vitest'
import { whenLeading } from '../../src/cli/lead.ts'
import { handClock } from '../../src/runtime/hand-clock.ts'
import { night } from '../store/step-record.ts'

const nothing = async () => undefined

it('what only one process may do begins at once where there is one, else when this one leads, and once', async () => {
  const clock = handClock(night)
  const begun: string[] = []
  whenLeading(undefined, clock, () => void begun.push('alone'))
  expect(begun).toEqual(['alone'])
  const sharing = { isLead: false }
  whenLeading(sharing, clock, () => void begun.push('leads'))
  await clock.advance(5_000, nothing)
  expect(begun).toEqual(['alone'])
  sharing.isLead = true
  await clock.advance(5_000, nothing)
  expect(begun).toEqual(['alone', 'leads'])
})

it('waits no longer once it is stopped', async () => {
  const clock = handClock(night)
  const sharing = { isLead: false }
  let isBegun = false
  const end = whenLeading(sharing, clock, () => {
    isBegun = true
  })
  end()
  sharing.isLead = true
  await clock.advance(5_000, nothing)
  expect(isBegun).toBe(false)
})
