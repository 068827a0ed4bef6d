import { describe, expect, test } from 'vitest'
import { copyOf, copyWith, copyWithout } from '../../src/case/copy.ts'

describe('a record of a case that is copied', () => {
  const many = Object.fromEntries(Array.from({ length: 40 }, (_, place) => [`step-${place}`, place]))

  test('has the same keys in the same order, and leaves the one before as it was', () => {
    const before = JSON.stringify(many)
    const copy = copyOf(many)
    copy['step-3'] = 99
    expect(JSON.stringify(copy)).toBe(before.replace('"step-3":3', '"step-3":99'))
    expect(JSON.stringify(many)).toBe(before)
  })

  test('takes a new value last, and a changed one in its place', () => {
    expect(JSON.stringify(copyWith({ b: 1, a: 2 }, 'c', 3))).toBe('{"b":1,"a":2,"c":3}')
    expect(JSON.stringify(copyWith({ b: 1, a: 2 }, 'b', 3))).toBe('{"b":3,"a":2}')
  })

  test('loses one key and no other; a key that it does not have is none', () => {
    expect(JSON.stringify(copyWithout({ b: 1, a: 2, c: 3 }, 'a'))).toBe('{"b":1,"c":3}')
    expect(JSON.stringify(copyWithout({ b: 1 }, 'a'))).toBe('{"b":1}')
    expect(Object.keys(copyWithout(many, 'step-0'))).toHaveLength(39)
  })
})
