import { languageInCookie } from './cookie.ts'

/**
 * The language of a page before any case has one: the one tapped (`?lang=es`), else the one this browser last saw, else the
 * first of those its Accept-Language header (RFC 9110, 12.5.4) asks for; undefined where none of them is served.
 */
export function languageFor(request: Request, served: readonly string[]): string | undefined {
  const tapped = new URL(request.url).searchParams.get('lang')
  const seen = languageInCookie(request.headers.get('cookie'))
  const asked = acceptedIn(request.headers.get('accept-language'))
  return [tapped, seen, ...asked].map(tag => servedAs(tag ?? '', served)).find(tag => tag !== undefined)
}

/** Tags of an Accept-Language header, the most wanted first; those of the same weight as written. */
function acceptedIn(header: string | null): readonly string[] {
  return (header ?? '')
    .slice(0, 500)
    .split(',')
    .map(part => {
      const [tag = '', ...parameters] = part.split(';').map(piece => piece.trim())
      const weight = parameters.map(piece => /^q=([\d.]+)$/.exec(piece)?.[1]).find(found => found !== undefined)
      return { tag, weight: weight === undefined ? 1 : Number(weight) }
    })
    .filter(({ weight }) => weight > 0)
    .toSorted((a, b) => b.weight - a.weight)
    .map(({ tag }) => tag)
}

/** "es-MX" is served by "es". */
function servedAs(tag: string, served: readonly string[]): string | undefined {
  const plain = tag.toLowerCase()
  return served.find(one => plain === one.toLowerCase() || plain.startsWith(`${one.toLowerCase()}-`))
}
