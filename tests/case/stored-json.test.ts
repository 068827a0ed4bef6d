import { expect, it } from 'vitest'
import { forgetStoredJson, storedJson } from '../../src/case/stored-json.ts'

it('reads a text once for all who read it, and gives each the same, frozen to its last part', () => {
  const text = '{"alarms":{"leave":{"due":5}},"answers":[["out",1]]}'
  const read = storedJson(text) as { alarms: { leave: { due: number } }; answers: unknown[][] }
  expect(read).toEqual({ alarms: { leave: { due: 5 } }, answers: [['out', 1]] })
  expect(storedJson(`${text} `.trim())).toBe(read)
  expect(() => {
    read.alarms.leave.due = 6
  }).toThrow(TypeError)
  expect(() => read.answers[0]?.push(2)).toThrow(TypeError)
})

it('gives another text another reading, and says of what is not JSON that it is not, each time', () => {
  expect(storedJson('{"n":1}')).not.toBe(storedJson('{"n": 1}'))
  for (const again of [1, 2]) expect(() => storedJson('{"n":'), `time ${again}`).toThrow(SyntaxError)
  expect(storedJson('null')).toBeNull()
})

it('remembers few: a text read long ago is read anew, and says the same', () => {
  const first = storedJson('{"n":"first"}')
  for (let n = 0; n < 100; n += 1) storedJson(`{"n":${n}}`)
  expect(storedJson('{"n":"first"}')).not.toBe(first)
  expect(storedJson('{"n":"first"}')).toEqual(first)
})

it('remembers no text once a case was erased', () => {
  const text = '{"said":"it came out"}'
  const read = storedJson(text)
  expect(storedJson(text)).toBe(read)
  forgetStoredJson()
  expect(storedJson(text)).not.toBe(read)
})
