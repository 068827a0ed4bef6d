import { describe, expect, it } from 'vitest'
import { questionsToCome } from '../../src/case/questions-to-come.ts'
import { aLine, flowsOf, shippedFiles, shippedFlows } from '../support/a-line.ts'
import { aTalk, PLAIN } from '../support/case-talk.ts'

const PATH = 'tube-moved/flow.yaml'

/** The shipped flows with the last step of "the tube has moved" led back to its first. */
function inACircle() {
  const text = shippedFiles.get(PATH) ?? ''
  const edited = text.replace('page: moved-pain, go: going }', 'page: moved-pain, go: first }')
  expect(edited, 'the circle was made').not.toBe(text)
  return aLine({}, { flows: flowsOf(new Map([...shippedFiles, [PATH, edited]])) })
}

describe('how many questions are announced', () => {
  it.each([...shippedFlows.flows.keys()])('in %s is a number that ends', concern => {
    const line = aLine()
    const talk = aTalk(line, concern).says()
    for (let asked = 0; asked < 30 && talk.state.open !== undefined; asked++) {
      const { fact } = talk.state.open
      const left = questionsToCome(line, talk.state, talk.now)
      expect(left === undefined || (left >= 0 && left <= 20)).toBe(true)
      talk.answers(fact, PLAIN[fact] ?? 'unsure')
    }
  })

  it('is none where a flow leads in a circle of what is answered: the reply leaves all the same', () => {
    const line = inACircle()
    const talk = aTalk(line, 'tube-moved').says()
    const announced: (number | undefined)[] = []
    for (let open = talk.state.open; open !== undefined && announced.length < 30; open = talk.state.open) {
      announced.push(questionsToCome(line, talk.state, talk.now))
      expect(talk.parts().length).toBeGreaterThan(0)
      if (announced.at(-1) === undefined) break
      talk.answers(open.fact, PLAIN[open.fact] ?? 'unsure')
    }
    expect(announced).toContain(undefined)
  })
})
