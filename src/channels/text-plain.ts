// Control characters but line feed, and the marks that turn the direction of text.
const UNSAFE = /(?!\n)[\p{Cc}\p{Bidi_Control}]/gu

/**
 * Text that a terminal prints as it stands: no escape sequence, no cursor movement, no turned direction. A tab becomes
 * a space, a carriage return is dropped, everything else that steers is shown as `\x1b`.
 */
export function plainText(text: string): string {
  return text.replace(UNSAFE, character => {
    if (character === '\t') return ' '
    if (character === '\r') return ''
    const code = character.codePointAt(0) ?? 0
    return code < 256 ? `\\x${code.toString(16).padStart(2, '0')}` : `\\u${code.toString(16)}`
  })
}
