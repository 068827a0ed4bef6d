import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { Part } from '../../src/case/message.ts'
import { partLines } from '../../src/channels/text-lines.ts'
import { drawingsIn } from '../../src/channels/webchat/drawing.ts'
import { partsOf } from '../../src/channels/webchat/log-lines.ts'
import { aLine, shippedFlows } from '../support/a-line.ts'
import { aTalk } from '../support/case-talk.ts'
import { screenWording } from '../support/screen-words.ts'
import { foot } from '../support/web-family.ts'

const drawing = drawingsIn(new URL('../../flows/shared/drawings', import.meta.url).pathname)

/** The clogged flow up to the flush, and the same up to the question of the length outside. */
const blocked = () =>
  aTalk(aLine(), 'clogged').says({
    'danger-signs': ['none'],
    'first-placed': { kind: 'moment', earliest: 0, latest: 0 } as never,
    'changed-before': 'yes',
    replaced: 'not-tried',
    'who-writes': 'parent',
    'pain-on-feed': 'no',
  })

function drawnIn(parts: readonly Part[]) {
  return parts.flatMap(part => ('drawing' in part && part.drawing !== undefined ? [part.drawing] : []))
}

describe('a drawing that shows how', () => {
  test('stands beside the advice to flush, and over the question of the length outside', () => {
    const talk = blocked()
    expect([talk.asked(), drawnIn(talk.parts())[0]?.id]).toEqual(['length-outside', 'length-outside'])
    talk.answersAll({ 'length-outside': 'same', device: 'balloon-button', 'wrong-port': 'none' })
    expect(talk.asked()).toBe('flush')
    expect(drawnIn(talk.parts()).map(({ id }) => id)).toEqual(['flushing'])
  })

  test('is read aloud by its words on the page, and printed in words in the terminal', async () => {
    const parts = blocked()
      .answersAll({ 'length-outside': 'same', device: 'balloon-button', 'wrong-port': 'none' })
      .parts()
    const page = (await Promise.all(partsOf(parts, { foot, drawing }))).join('')
    expect(page).toMatch(
      /<span class="picture" role="img" aria-label="Drawing: a large syringe[^"]*"><svg aria-hidden="true"/,
    )
    const without = (await Promise.all(partsOf(parts, { foot }))).join('')
    expect(without).toContain('Drawing: a large syringe')
    expect(partLines(parts, { wording: screenWording }).join('\n')).toContain('[Drawing: a large syringe')
  })

  test('has a file and words in every language, wherever a flow names one', () => {
    const named = new Set(
      [...shippedFlows.flows.values()].flatMap(flow => [...flow.advice.values()].map(advice => advice.drawing)),
    )
    for (const { drawing: id } of Object.values(shippedFlows.facts)) named.add(id)
    named.delete(undefined)
    expect(named.size).toBe(2)
    for (const id of named) {
      expect(readFileSync(new URL(`../../flows/shared/drawings/${id}.svg`, import.meta.url), 'utf8')).toContain('<svg')
      for (const wording of shippedFlows.wording.values()) expect(wording.source(`drawing/${id}`)).toMatch(/^D/)
    }
  })
})
