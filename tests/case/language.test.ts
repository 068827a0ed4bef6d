import { describe, expect, it } from 'vitest'
import { viewOf } from '../../src/case/handover.ts'
import { catalogueOf } from '../../src/flow/wording.ts'
import { aTalk, type CaseTalk, PLAIN } from '../support/case-talk.ts'
import { twoLanguageLine } from '../support/two-troubles.ts'

const line = twoLanguageLine()
const inSpanish = (concern = 'tube-out'): CaseTalk => {
  const talk = aTalk(line, concern)
  talk.state = { ...talk.state, language: 'es' }
  return talk
}
const texts = (talk: CaseTalk) => talk.parts().map(part => part.text)
const isSpanish = (text: string) => text.startsWith('ES ')
const chosen = (talk: CaseTalk, language: string) => talk.does({ kind: 'languageChosen', language })

describe('a family that writes Spanish', () => {
  it('reads nothing in another language, from the first reply to the road', () => {
    const talk = inSpanish().says()
    const told = [...texts(talk)]
    for (const [fact, answer] of Object.entries(PLAIN)) {
      if (talk.asked() !== fact) continue
      talk.answers(fact, answer)
      told.push(...texts(talk))
    }
    expect(told.length).toBeGreaterThan(15)
    expect(told.filter(text => !isSpanish(text))).toEqual([])
  })

  it('is paged about in the clinic’s language, with the language it writes', () => {
    const talk = inSpanish().says().answersAll(PLAIN)
    const [first] = talk.pages()
    const page = first === undefined ? [] : talk.pageText(first.page)
    expect(page.filter(piece => piece.includes('ES '))).toEqual([])
    expect(page).toContain('Family writes Spanish.')
  })

  it('is handed over in the clinic’s language', () => {
    const talk = inSpanish().says().answersAll(PLAIN)
    const { handover, answers } = viewOf(line, talk.state, [], talk.now)
    const words = [...Object.values(handover).flat(), ...answers.map(each => each.answer)]
    expect(words.filter(text => text.includes('ES '))).toEqual([])
    expect(handover.situation).toContain('Family reads and writes Spanish')
  })

  it('hears lengths and times in its language', () => {
    const told = inSpanish().says().answersAll(PLAIN).replies()
    expect(told.length).toBeGreaterThan(5)
    expect(texts(inSpanish().says().answersAll(PLAIN)).join(' ')).not.toMatch(/\bminutes\b/)
  })
})

describe('another language in the middle', () => {
  it('says the open question again in it, and asks nothing else', () => {
    const talk = chosen(aTalk(line).says(), 'es')
    expect(talk.said()).toEqual(['language-changed', 'ask:in-opening'])
    expect(texts(talk).every(isSpanish)).toBe(true)
  })

  it('loses no answer and decides nothing anew', () => {
    const talk = aTalk(line).says().answersAll(PLAIN)
    const { answers, disposition, inForce } = talk.state
    chosen(talk, 'es')
    expect(talk.state).toMatchObject({ answers, disposition, inForce })
  })

  it('can be changed back', () => {
    const talk = chosen(chosen(aTalk(line).says(), 'es'), 'en')
    expect(texts(talk).some(isSpanish)).toBe(false)
  })

  it('that a flow has no words in leaves talk as it is and pages a person', () => {
    const talk = aTalk(line, 'skin').does({ kind: 'caseOpened', concern: 'skin' })
    chosen(talk, 'es')
    expect(talk.state.language).toBeUndefined()
    expect(talk.said()[0]).toBe('language-not-here')
    expect(talk.pages()).toHaveLength(1)
  })

  it('of an answer is followed, and the answer counts', () => {
    const talk = aTalk(line).says()
    const serial = talk.state.open?.serial ?? 0
    const answer = { kind: 'choice', value: 'nothing' } as const
    const event = { kind: 'answerGiven', serial, fact: 'in-opening', answer, said: 'nada', language: 'es' } as const
    talk.does(event)
    expect([talk.state.language, talk.asked()]).toEqual(['es', 'danger-signs'])
  })

  it('that the clinic does not list changes nothing', () => {
    const talk = chosen(aTalk(line).says(), 'fr')
    expect(talk.said()).toEqual(['ask:in-opening'])
  })
})

describe('a language that this line does not speak', () => {
  const foreign = {
    ...line,
    foreign: new Map([['fr', catalogueOf('fr', { say: 'Appelez le {emergency}. {languages}.' })]]),
  }
  const talk = () => {
    const event = { kind: 'caseOpened', concern: 'someone', said: 'aidez-moi', unclear: true, foreign: 'fr' } as const
    return aTalk(foreign, 'someone').does(event)
  }

  it('is answered in it first, with the emergency number and the languages there are', () => {
    expect(talk().parts()[0]).toMatchObject({ text: 'Appelez le 911. anglais, espagnol.', language: 'fr' })
  })

  it('is told to the clinician, who needs an interpreter', () => {
    const opened = talk()
    const [first] = opened.pages()
    expect(first === undefined ? '' : opened.pageText(first.page).join(' ')).toContain('WRITES French')
    expect(viewOf(foreign, opened.state, [], opened.now).marks).toContain('Writes French: interpreter needed')
  })

  it('is said once, not with every message', () => {
    const again = talk().does({ kind: 'personWanted', said: 'aidez-moi', foreign: 'fr' } as never)
    expect(again.said()).not.toContain('foreign:fr')
  })
})
