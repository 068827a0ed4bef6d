/**
 * A record with keys of its own, copied. The engine copies such a record whole, whatever keys it has, where it was made this
 * way; by a spread it goes key by key once it has met records of more than four makes (1,100 nanoseconds beside 67 for one of
 * 45 keys, V8 13.6). Not for a case itself: those are all of one make.
 */
export function copyOf<T>(record: Readonly<Record<string, T>>): Record<string, T> {
  return Object.assign({}, record)
}

/** The same with one value put in or changed. */
export function copyWith<T>(record: Readonly<Record<string, T>>, id: string, value: T): Record<string, T> {
  const own = copyOf(record)
  own[id] = value
  return own
}

/** The same without one key. */
export function copyWithout<T>(record: Readonly<Record<string, T>>, id: string): Record<string, T> {
  const own: Record<string, T> = {}
  for (const key in record) if (key !== id) own[key] = record[key] as T
  return own
}
