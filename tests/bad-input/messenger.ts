import { expect, vi } from 'vitest'
import type { Phone } from '../support/bot-api/phone.ts'
import { spoken, type TelegramNight, telegramNight } from '../support/telegram-night.ts'
import type { BadInput, Row } from './trying.ts'

const SOON = { timeout: 10_000, interval: 10 }
const BY_ANOTHER = { forward_origin: { type: 'hidden_user', sender_user_name: 'x', date: 1 } } as const
const WHERE = 'what is in the opening, on Telegram'

type Tried = readonly [sent: string, act: (phone: Phone) => unknown, reads: RegExp]

const PRIVATE: readonly Tried[] = [
  ['forwarded: it is empty', phone => phone.says('it is empty', BY_ANOTHER), /someone else|forwarded/i],
  ['forwarded: her lips are blue', phone => phone.says('her lips are blue', BY_ANOTHER), /Ring 911 now/],
  ['changed afterwards: it is empty', phone => phone.edits(1, 'it is empty'), /changed afterwards/],
  ['changed afterwards: he is floppy', phone => phone.edits(2, 'he is floppy'), /Ring 911 now/],
  [
    'a photo with "it is empty" under it',
    phone => phone.sends({ photo: [], caption: 'it is empty' }),
    /cannot see or hear/,
  ],
  [
    'a photo with "so much blood" under it',
    phone => phone.sends({ photo: [], caption: 'so much blood, it will not stop' }),
    /Ring 911 now/,
  ],
  ['a voice message', phone => phone.sends({ voice: {} } as never), /cannot see or hear/],
  ['a sticker', phone => phone.sends({ sticker: {} } as never), /cannot see or hear/],
  ['a place', phone => phone.sends({ location: { latitude: 1, longitude: 1 } }), /cannot see or hear/],
  [
    'a press that no button of the chat has',
    phone => phone.press('a.9.AAAAAAAAAAA'),
    /answered before|What is in it now/,
  ],
  ['a press with nothing in it', phone => phone.press(''), /What is in it now/],
  ['a command that there is not', phone => phone.says('/qwerty'), /./],
]

const first = (text: string): string => text.split('\n')[0] ?? ''

async function tried(night: TelegramNight, [sent, act, reads]: Tried): Promise<Row> {
  const phone = night.family()
  phone.says('her tube came out')
  await vi.waitFor(() => expect(spoken(phone).at(-1)).toMatch(/What is in it now/), SOON)
  const before = spoken(phone).length
  act(phone)
  await vi.waitFor(() => expect(spoken(phone).slice(before).join('\n'), sent).toMatch(reads), SOON)
  const answer = spoken(phone).slice(before).join('\n')
  expect(answer, sent).toMatch(/911/)
  expect(answer, sent).toContain('+1 212 555 0110')
  return { where: WHERE, sent, shown: first(answer) }
}

/** What only a messenger can bring. */
export const messengerInputs: readonly BadInput[] = [
  {
    id: 'B12',
    name: 'groups, forwarded and changed messages, presses from elsewhere',
    happens:
      'Nothing that somebody else wrote, that was changed afterwards, or that stands under a picture is an answer; danger in it is danger. A group is refused with the numbers and left. The first line of the answer is shown; the numbers stand under each.',
    async run() {
      const night = await telegramNight()
      try {
        const rows: Row[] = []
        for (const one of PRIVATE) rows.push(await tried(night, one))
        const group = night.api.group(-77)
        group.says('her tube is out')
        await vi.waitFor(() => expect(night.api.leftChats).toContain(-77), SOON)
        expect(group.texts().join('\n')).toMatch(/911/)
        rows.push({ where: 'a group, on Telegram', sent: 'her tube is out', shown: first(group.texts()[0] ?? '') })
        expect(night.api.faults).toEqual([])
        return rows
      } finally {
        await night.stop()
      }
    },
  },
]
