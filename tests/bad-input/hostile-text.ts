import fc from 'fast-check'

/** Pieces that have broken readers of text: control and format characters, markup, keys of objects, numbers out of range. */
export const HOSTILE: readonly string[] = [
  '',
  ' ',
  '\u0000',
  '\u0007\u001b[31m',
  '\ud800',
  '\udfff\ud800',
  '\u202e',
  '\u2066\u2069',
  '\u200b\u200d\ufeff',
  'ﷺ',
  'İ',
  'ß',
  '٣',
  '१२',
  '²',
  '½',
  '１２：３０',
  '🩸',
  '👨‍👩‍👧‍👦',
  'e\u0301\u0302\u0303\u0304',
  '\r\n',
  '\u2028',
  '__proto__',
  'constructor',
  'toString',
  'hasOwnProperty',
  `${'$'}{x}`,
  '{x}',
  '{',
  '}',
  '#',
  "'",
  '"',
  '\\',
  '<b>',
  '&amp;',
  '*',
  '&a',
  '!!js/function',
  ': ',
  '- ',
  '\t',
  '|',
  '%00',
  '../',
  '-1',
  '0',
  '1e999',
  '0x10',
  '9007199254740993',
  '99999999999999999999',
  '25:61',
  '1:30',
  '31/02/2024',
  '2024-02-30',
  'at',
  'ago',
  'not',
  'no',
  'or',
  'between',
  'minutes',
  'and',
  'half',
  'past',
  'yesterday',
  '+1',
  '(202) 555-0142',
  'ext 5',
  'lips',
  'blue',
]

/** Text built to hurt: hostile pieces, any characters (lone surrogates too), long runs of one of them. */
export const hostileText: fc.Arbitrary<string> = fc.oneof(
  fc
    .array(fc.oneof(fc.constantFrom(...HOSTILE), fc.string({ unit: 'binary', maxLength: 6 })), { maxLength: 14 })
    .map(parts => parts.join(' ')),
  fc.array(fc.constantFrom(...HOSTILE), { maxLength: 20 }).map(parts => parts.join('')),
  fc.string({ unit: 'binary', maxLength: 60 }),
  fc.array(fc.integer({ min: 0, max: 0xffff }), { maxLength: 40 }).map(units => String.fromCharCode(...units)),
  fc.tuple(fc.constantFrom(...HOSTILE), fc.integer({ min: 1, max: 300 })).map(([piece, times]) => piece.repeat(times)),
)

/** A text made worse: lines dropped, doubled, swapped, cut, indented, or with something hostile put in. */
export function spoiled(text: string): fc.Arbitrary<string> {
  const lines = text.split('\n')
  const change = fc.record({
    kind: fc.constantFrom('drop', 'double', 'cut', 'indent', 'insert', 'value', 'swap'),
    at: fc.integer({ min: 0, max: lines.length - 1 }),
    to: fc.integer({ min: 0, max: lines.length - 1 }),
    with: fc.constantFrom(...HOSTILE),
  })
  return fc.array(change, { minLength: 1, maxLength: 4 }).map(changes => {
    const changed = [...lines]
    for (const one of changes) {
      const line = changed[one.at] ?? ''
      if (one.kind === 'drop') changed.splice(one.at, 1)
      if (one.kind === 'double') changed.splice(one.at, 0, line)
      if (one.kind === 'cut') changed[one.at] = line.slice(0, Math.floor(line.length / 2))
      if (one.kind === 'indent') changed[one.at] = `  ${line}`
      if (one.kind === 'insert') changed.splice(one.at, 0, one.with)
      if (one.kind === 'value') changed[one.at] = line.replace(/:.*$/, `: ${one.with}`)
      if (one.kind === 'swap') [changed[one.at], changed[one.to]] = [changed[one.to] ?? '', line]
    }
    return changed.join('\n')
  })
}
