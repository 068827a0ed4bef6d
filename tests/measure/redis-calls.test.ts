import { expect, test } from 'vitest'
import { commandsIn } from '../../src/measure/redis-calls.ts'

// Redis documentation, "Redis serialization protocol specification": a client sends an array of bulk strings, each behind its
// length in bytes. The first example stands there so; the second holds what a split at line ends would tear apart.
test('reads commands off the wire by their lengths', () => {
  const torn = 'a\r\n$9\r\nß'
  const wire = `*2\r\n$4\r\nLLEN\r\n$6\r\nmylist\r\n*3\r\n$3\r\nSET\r\n$1\r\nk\r\n$9\r\n${torn}\r\n`
  expect(Buffer.byteLength(torn)).toBe(9)
  expect(commandsIn(Buffer.from(wire)).map(words => words.map(String))).toEqual([
    ['LLEN', 'mylist'],
    ['SET', 'k', torn],
  ])
})
