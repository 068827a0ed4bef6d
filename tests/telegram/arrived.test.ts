import type { Update } from 'grammy/types'
import { describe, expect, it } from 'vitest'
import { arrived } from '../../src/telegram/arrived.ts'

const from = { id: 5, is_bot: false, first_name: 'x', language_code: 'es-MX' }
const chat = { id: 5, type: 'private', first_name: 'x' }
const of = (message: object): Update =>
  ({ update_id: 1, message: { message_id: 9, date: 100, chat, from, ...message } }) as never

// Shapes of updates and messages: Bot API 10.1 reference, "Update" and "Message".
describe('what an update means', () => {
  it('words are words, with when they were made and the language of the telephone', () => {
    expect(arrived(of({ text: 'out' }))).toEqual({
      kind: 'words',
      chat: '5',
      key: '5.9',
      language: 'es-MX',
      text: 'out',
      madeAt: 100_000,
    })
  })

  it.each([
    ['/start', { kind: 'start', payload: '' }],
    ['/start  es_tube-out ', { kind: 'start', payload: 'es_tube-out' }],
    ['/start@feeding_line_bot abc', { kind: 'start', payload: 'abc' }],
    ['/person', { kind: 'command', command: 'person' }],
    ['/PERSON', { kind: 'command', command: 'person' }],
    ['/person her lips are blue', { kind: 'words', text: '/person her lips are blue' }],
    ['/', { kind: 'words' }],
    ['see /start', { kind: 'words' }],
  ])('%s', (text, expected) => expect(arrived(of({ text }))).toMatchObject(expected))

  it.each([
    [{ voice: {} }, { kind: 'media', media: 'voice' }],
    [{ photo: [] }, { kind: 'media', media: 'photo' }],
    [
      { photo: [], caption: 'blood' },
      { kind: 'words', text: 'blood', how: 'captioned' },
    ],
    [
      { photo: [], caption: '  ' },
      { kind: 'media', media: 'photo' },
    ],
    [
      { text: 'x', forward_origin: {} },
      { kind: 'words', how: 'forwarded' },
    ],
    [
      { text: '/start', forward_origin: {} },
      { kind: 'words', how: 'forwarded' },
    ],
    [{ contact: { phone_number: '12025550142' } }, { kind: 'number', number: '+12025550142' }],
    [{ contact: { phone_number: '+12025550142' } }, { kind: 'number', number: '+12025550142' }],
    [{ contact: { phone_number: '0012025550142' } }, { kind: 'number', number: '+12025550142' }],
    [{ pinned_message: {} }, { kind: 'nothing' }],
    [{}, { kind: 'nothing' }],
  ])('%j', (message, expected) => expect(arrived(of(message))).toMatchObject(expected))

  it('a changed message is another than the one it was, and each change another', () => {
    const edit = (edit_date: number) =>
      arrived({ update_id: 1, edited_message: { message_id: 9, date: 100, edit_date, chat, from, text: 'x' } } as never)
    expect(edit(120)).toMatchObject({ kind: 'words', how: 'edited', key: '5.9.120', madeAt: 120_000 })
    expect(edit(130)).toMatchObject({ key: '5.9.130' })
  })

  it.each([
    [
      'a group',
      { message: { message_id: 1, date: 1, chat: { id: -7, type: 'supergroup', title: 'x' }, from, text: 'x' } },
      false,
    ],
    ['a channel', { channel_post: { message_id: 1, date: 1, chat: { id: -7, type: 'channel', title: 'x' } } }, false],
    [
      'being put into a group',
      { my_chat_member: { chat: { id: -7, type: 'group' }, new_chat_member: { status: 'member' } } },
      false,
    ],
    [
      'being put out of a group',
      { my_chat_member: { chat: { id: -7, type: 'group' }, new_chat_member: { status: 'kicked' } } },
      true,
    ],
    [
      'a press in a group',
      {
        callback_query: {
          id: 'p',
          from,
          data: 'x',
          message: { message_id: 1, date: 0, chat: { id: -7, type: 'group' } },
        },
      },
      false,
    ],
  ])('%s is elsewhere', (_, update, isLeft) =>
    expect(arrived({ update_id: 1, ...update } as never)).toEqual({ kind: 'elsewhere', chat: '-7', isLeft }),
  )

  it('a block is told, and coming back is nothing', () => {
    const member = (status: string) =>
      arrived({ update_id: 1, my_chat_member: { chat, from, date: 3, new_chat_member: { status } } } as never)
    expect(member('kicked')).toEqual({ kind: 'blocked', chat: '5', key: '5.blocked.3' })
    expect(member('member')).toEqual({ kind: 'nothing' })
  })

  it('a press on a message too old to be shown has no buttons to read, and is a press all the same', () => {
    const message = { message_id: 4, date: 0, chat }
    expect(
      arrived({ update_id: 1, callback_query: { id: 'p', from, chat_instance: '', data: 'a.1.x', message } } as never),
    ).toMatchObject({
      ...{ kind: 'press', chat: '5', key: '5.press.p', messageId: 4, rows: [] },
    })
  })

  it.each(['poll', 'inline_query', 'shipping_query', 'chat_join_request', 'message_reaction', 'business_message'])(
    'a %s, which was not asked for, is nothing',
    kind => expect(arrived({ update_id: 1, [kind]: {} } as never)).toEqual({ kind: 'nothing' }),
  )
})
