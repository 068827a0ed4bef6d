import { readdirSync, readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { drawingFault, drawingsIn } from '../../src/channels/webchat/drawing.ts'

const folder = new URL('../../flows/shared/drawings', import.meta.url).pathname
const ids = readdirSync(folder).map(file => file.replace('.svg', ''))

describe('the shipped drawings', () => {
  test('are the kinds of tube, the parts that break, and how to do two things', () => {
    const tubes = ['balloon-button', 'balloon-long', 'into-bowel', 'nasal', 'no-balloon', 'unsure']
    const parts = ['cap-or-connector', 'does-not-fit', 'extension', 'tube-itself']
    const ways = ['flushing', 'length-outside']
    expect(ids.toSorted()).toEqual([...parts, ...tubes, ...ways].toSorted())
  })

  test.each(ids)('%s has a title, a description, lines in the colour of the text, and is no larger than 3 kB', id => {
    const svg = drawingsIn(folder)(id) ?? ''
    expect(svg).toMatch(/<title>[^<]+<\/title>\s*<desc>[^<]+<\/desc>/)
    expect(svg).toContain('stroke="currentColor"')
    expect(svg).not.toMatch(/#[0-9a-f]{3,6}|rgb|"black"/i)
    expect(Buffer.byteLength(readFileSync(`${folder}/${id}.svg`))).toBeLessThanOrEqual(3 * 1024)
  })
})

describe('a clinic’s own drawing is refused', () => {
  test.each([
    ['with a script', '<svg xmlns="x"><script>1</script></svg>'],
    ['with a handler', '<svg xmlns="x" onload="1"></svg>'],
    ['with a link elsewhere', '<svg xmlns="x"><path href="https://x.example"/></svg>'],
    ['with a style of its own', '<svg xmlns="x"><style>a{}</style></svg>'],
    ['with markup around it', '<p/><svg xmlns="x"></svg>'],
    ['with an entity', '<svg xmlns="x"><!ENTITY a "b"></svg>'],
    ['when too large', `<svg xmlns="x"><path d="${'1 '.repeat(2000)}"/></svg>`],
  ])('%s', (_, svg) => {
    expect(drawingFault(svg)).toBeTypeOf('string')
  })

  test('and a plain one is taken', () => {
    expect(drawingFault('<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h1"/></svg>')).toBeUndefined()
  })
})
