import { describe, expect, test } from 'vitest'
import { type FamilyFoot, withNumbers } from '../../src/channels/web-page.ts'
import { foot } from '../support/web-family.ts'

/** Invented numbers: 555-01xx is reserved for fiction. */
const all: FamilyFoot = {
  ...foot,
  namedInTexts: [
    { label: 'Transport', number: '+12125550117', shown: '+1 212 555 0117' },
    { label: 'Harbour Point', number: '+12125550120', shown: '+1 212 555 0120' },
  ],
}
const markup = async (text: string, given: FamilyFoot = all): Promise<string> => String(await withNumbers(text, given))

describe('numbers in a text', () => {
  test('transport and hospital can be tapped where a text names them, as the two at the foot can', async () => {
    expect(await markup('No way to get there? Ring +1 212 555 0117. Say a child must get to hospital.')).toContain(
      'Ring <a class="tel" href="tel:+12125550117">+1 212 555 0117</a>. Say',
    )
    expect(await markup('To talk to someone, ring +1 212 555 0120. Worse? Ring 555-0111.')).toMatch(
      /tel:\+12125550120.*tel:\+12025550111/,
    )
  })

  test('a longer number is never cut by a shorter one in it', async () => {
    const short = { ...all, emergency: { label: 'Emergency', number: '212', shown: '212' } }
    expect(await markup('Ring +1 212 555 0117 now.', short)).toContain('>+1 212 555 0117</a> now.')
  })

  test('other figures and numbers nobody named stay text', async () => {
    for (const text of ['It came out at 2:10.', 'Ring +1 212 555 0199.', 'Case 0117', '5550111234', '1555-0111'])
      expect(await markup(text), text).not.toContain('tel:')
  })
})
