import type { Page } from 'playwright-core'

/** A colour as red, green and blue, 0 to 255. */
type Colour = readonly [number, number, number]

/** WCAG 2.2, definition of contrast ratio: from relative luminance, 1 to 21. */
export function contrastRatio(one: Colour, other: Colour): number {
  const [lighter = 0, darker = 0] = [luminance(one), luminance(other)].toSorted((a, b) => b - a)
  return (lighter + 0.05) / (darker + 0.05)
}

/** WCAG 2.2, definition of relative luminance. */
function luminance(colour: Colour): number {
  const [red = 0, green = 0, blue = 0] = colour.map(part => {
    const share = part / 255
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4
  })
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue
}

/** WCAG 2.2, 1.4.3: 4.5, or 3 for text of 24 px, or 18.66 px (14 pt) and bold. */
const needed = (isLarge: boolean): number => (isLarge ? 3 : 4.5)

interface Drawn {
  readonly ink: Colour
  readonly ground: Colour
  readonly isLarge: boolean
  readonly sample: string
}

/**
 * Words of a page that stand out too little from what is behind them, and how many kinds of words were looked at. For pages of
 * plain grounds, as all here are: a picture or a gradient behind words is told, never passed over.
 */
export async function contrastFindings(
  page: Page,
): Promise<{ readonly kinds: number; readonly wrong: readonly string[] }> {
  const drawn = (await page.evaluate(`(() => {
    const parts = said => (said.match(/[\\d.]+/g) ?? []).map(Number)
    const groundOf = one => {
      const layers = []
      for (let at = one; at !== null; at = at.parentElement) {
        const style = getComputedStyle(at)
        if (style.backgroundImage !== 'none') return 'picture'
        const [red, green, blue, alpha = 1] = parts(style.backgroundColor)
        if (alpha > 0) layers.push([red, green, blue, alpha])
        if (alpha === 1) break
      }
      return layers.reduceRight((under, [red, green, blue, alpha]) => [red, green, blue].map((part, place) => part * alpha + under[place] * (1 - alpha)), [255, 255, 255])
    }
    const kinds = new Map()
    for (const one of document.body.querySelectorAll('*')) {
      const hasWords = [...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim() !== '')
      if (!hasWords && !one.matches('input:not([type=hidden]), select, textarea')) continue
      if (one.matches('script, style, option, :disabled') || one.getClientRects().length === 0) continue
      const style = getComputedStyle(one)
      const size = parseFloat(style.fontSize)
      const isLarge = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700)
      const ground = groundOf(one)
      const key = [style.color, ground, isLarge].join(' ')
      if (!kinds.has(key)) kinds.set(key, { ink: parts(style.color).slice(0, 3), ground, isLarge, sample: one.outerHTML.slice(0, 80) })
    }
    return [...kinds.values()]
  })()`)) as readonly (Omit<Drawn, 'ground'> & { readonly ground: Colour | 'picture' })[]
  const wrong = drawn.flatMap(({ ink, ground, isLarge, sample }) => {
    if (ground === 'picture') return [`a picture behind ${sample}`]
    const ratio = contrastRatio(ink, ground)
    return ratio >= needed(isLarge) ? [] : [`${ratio.toFixed(2)} of ${needed(isLarge)}: ${sample}`]
  })
  return { kinds: drawn.length, wrong }
}
