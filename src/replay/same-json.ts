/**
 * Whether two plain values (nothing that writes itself, as a date does) make the same JSON text, the order of their keys included. Neither is written where they are alike from one
 * end to the other, which recorded and repeated decisions nearly always are; where they seem not to be, the texts decide.
 */
export function isSameJson(a: unknown, b: unknown): boolean {
  return isAlike(a, b) || JSON.stringify(a) === JSON.stringify(b)
}

function isAlike(a: unknown, b: unknown): boolean {
  if (a === b) return true
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return false
  if (Array.isArray(a)) return Array.isArray(b) && isAlikeList(a, b)
  if (Array.isArray(b)) return false
  const [left, right] = [a as Readonly<Record<string, unknown>>, b as Readonly<Record<string, unknown>>]
  const keys = Object.keys(left)
  let count = 0
  for (const key in right) {
    if (keys[count] !== key || !isAlike(left[key], right[key])) return false
    count += 1
  }
  return count === keys.length
}

function isAlikeList(a: readonly unknown[], b: readonly unknown[]): boolean {
  if (a.length !== b.length) return false
  for (let index = 0; index < a.length; index += 1) if (!isAlike(a[index], b[index])) return false
  return true
}
