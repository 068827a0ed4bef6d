/**
 * Draws every drawing of the flows, and the answers of each question whose answers are drawn in one numbered picture, as pictures for channels that show no SVG: black on white, and the SHA-256 of the SVG it was
 * drawn from in a text chunk (PNG specification, section 11.3.3.2, tEXt). Run it after a drawing was changed:
 * `node tests/support/drawings-as-png.ts`. A test compares the digests.
 */
import { createHash } from 'node:crypto'
import { readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { basename, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { crc32 } from 'node:zlib'
import { chromium } from 'playwright-core'
import { parse } from 'yaml'
import { answersId } from '../../src/channels/telegram/pieces.ts'

const root = fileURLToPath(new URL('../..', import.meta.url))
export const SVG_FOLDER = join(root, 'flows/shared/drawings')
export const PNG_FOLDER = join(root, 'src/channels/telegram/drawings')
const KEYWORD = 'drawn-from'
/** Longer side in pixels: a telephone's width at twice its density. */
const WIDTH = 720

/** Drawings of the answers of each fact that has its answers drawn, in their order. */
export function answersDrawn(): readonly (readonly string[])[] {
  const { facts } = parse(readFileSync(join(root, 'flows/shared/facts.yaml'), 'utf8')) as {
    facts: Readonly<Record<string, { readonly drawings?: boolean; readonly values?: readonly string[] }>>
  }
  return Object.values(facts).flatMap(({ drawings, values = [] }) => (drawings === true ? [values] : []))
}

export const svgOf = (id: string): string => readFileSync(join(SVG_FOLDER, `${id}.svg`), 'utf8')

export const digestOf = (svg: string): string => createHash('sha256').update(svg).digest('hex')

/** The digest of the SVG that a picture was drawn from; undefined where it holds none. */
export function drawnFrom(png: Buffer): string | undefined {
  for (let at = 8; at + 8 <= png.length; at += 12 + png.readUInt32BE(at)) {
    const body = png.subarray(at + 8, at + 8 + png.readUInt32BE(at))
    const [keyword, text] = body.toString('latin1').split('\0')
    if (png.toString('latin1', at + 4, at + 8) === 'tEXt' && keyword === KEYWORD) return text
  }
  return undefined
}

/** The text chunk stands first after the header chunk, which has 25 bytes behind the 8 of the signature. */
function marked(png: Buffer, digest: string): Buffer {
  const body = Buffer.from(`tEXt${KEYWORD}\0${digest}`, 'latin1')
  const length = Buffer.alloc(4)
  length.writeUInt32BE(body.length - 4)
  const check = Buffer.alloc(4)
  check.writeUInt32BE(crc32(body))
  return Buffer.concat([png.subarray(0, 33), length, body, check, png.subarray(33)])
}

async function draw(): Promise<void> {
  const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: ['--no-sandbox'] })
  const page = await browser.newPage({ viewport: { width: WIDTH, height: WIDTH } })
  for (const file of readdirSync(SVG_FOLDER).filter(name => name.endsWith('.svg'))) {
    const svg = readFileSync(join(SVG_FOLDER, file), 'utf8')
    await page.setContent(
      `<style>body{margin:0;background:#fff;color:#111}svg{display:block;width:${WIDTH - 48}px;height:auto;padding:24px}</style>${svg}`,
    )
    const box = await page.locator('svg').boundingBox()
    const clip = { x: 0, y: 0, width: WIDTH, height: Math.ceil(box?.height ?? WIDTH) }
    const png = Buffer.from(await page.screenshot({ clip }))
    writeFileSync(join(PNG_FOLDER, `${basename(file, '.svg')}.png`), marked(png, digestOf(svg)))
  }
  for (const ids of answersDrawn()) {
    const drawn = ids.map((id, index) => `<div><b>${index + 1}</b>${svgOf(id)}</div>`).join('')
    await page.setContent(
      `<style>body{margin:0;background:#fff;color:#111;display:grid;grid-template-columns:1fr 1fr;gap:12px;padding:12px;width:${WIDTH - 24}px;font:700 40px sans-serif}
       div{border:2px solid #999;padding:8px}svg{display:block;width:100%;height:240px}</style>${drawn}`,
    )
    const height = Math.ceil((await page.locator('body').boundingBox())?.height ?? WIDTH)
    await page.setViewportSize({ width: WIDTH, height })
    const png = Buffer.from(await page.screenshot())
    writeFileSync(join(PNG_FOLDER, `${answersId(ids)}.png`), marked(png, digestOf(ids.map(svgOf).join('\n'))))
  }
  await browser.close()
}

if (process.argv[1] === fileURLToPath(import.meta.url)) await draw()
