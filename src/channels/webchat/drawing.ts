import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'

/** Largest drawing in bytes (inclusive). */
const DRAWING_BYTES_MAX = 3 * 1024

/**
 * The drawings of a folder by id (file name without `.svg`), read once. Throws when a file is no plain drawing: too
 * large, or holding a script, a style, a link or anything from elsewhere.
 */
export function drawingsIn(folder: string): (id: string) => string | undefined {
  const drawings = new Map<string, string>()
  for (const file of readdirSync(folder).filter(name => name.endsWith('.svg'))) {
    const svg = readFileSync(join(folder, file), 'utf8').trim()
    const fault = drawingFault(svg)
    if (fault !== undefined) throw new Error(`${join(folder, file)}: ${fault}`)
    drawings.set(file.slice(0, -'.svg'.length), svg)
  }
  return id => drawings.get(id)
}

/** What makes an SVG unfit to stand inside a page, or undefined. */
export function drawingFault(svg: string): string | undefined {
  if (Buffer.byteLength(svg) > DRAWING_BYTES_MAX)
    return `larger than ${DRAWING_BYTES_MAX} bytes; draw it with fewer points`
  if (!svg.startsWith('<svg ') || !svg.endsWith('</svg>')) return 'not one <svg> element; remove what stands around it'
  const foreign = /<(?:script|style|image|use|a|foreignObject|animate)\b|\son\w+=|(?:href|src|style)=|url\(|<!/i.exec(
    svg,
  )
  return foreign === null ? undefined : `holds "${foreign[0]}"; a drawing is lines and shapes only`
}
