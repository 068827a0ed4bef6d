import { expect, test } from 'vitest'
import { boardPager } from '../../src/pagers/board.ts'
import type { Page } from '../../src/pagers/pager.ts'
import { aPage } from './a-page.ts'

test('the board accepts at once and shows the latest first', async () => {
  const board = boardPager()
  expect(await board.page(aPage({ key: 'a' }))).toEqual({ kind: 'accepted' })
  await board.page(aPage({ key: 'b' }))
  expect(board.recent().map(page => page.key)).toEqual(['b', 'a'])
})

test('the board shows a page sent again once, as the repeat', async () => {
  const board = boardPager()
  await board.page(aPage({ key: 'a' }))
  await board.page(aPage({ key: 'b' }))
  await board.page(aPage({ key: 'a', repeated: true }))
  expect(board.recent().map(page => [page.key, page.repeated])).toEqual([
    ['a', true],
    ['b', false],
  ])
})

test('the board remembers no more than it was told to', async () => {
  const board = boardPager({ keep: 2 })
  for (const key of ['a', 'b', 'c']) await board.page(aPage({ key }))
  expect(board.recent().map(page => page.key)).toEqual(['c', 'b'])
})

test('the board tells whoever listens, until they stop', async () => {
  const board = boardPager()
  const heard: Page[] = []
  const stop = board.onPage(page => heard.push(page))
  await board.page(aPage({ key: 'a' }))
  stop()
  await board.page(aPage({ key: 'b' }))
  await new Promise(setImmediate)
  expect(heard.map(page => page.key)).toEqual(['a'])
})
