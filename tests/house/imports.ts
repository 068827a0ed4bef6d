import { posix } from 'node:path'
import type { Finding } from './finding.ts'
import type { Scan } from './source-scan.ts'

/** Folders whose first files are a port: what the core asks of the outside. Every other file or folder there is an adapter. */
const PORTS: Readonly<Record<string, readonly string[]>> = {
  store: ['store.ts', 'seal.ts', 'step-content.ts', 'whole-chat.ts'],
  channels: ['channel.ts'],
  pagers: ['pager.ts', 'page-text.ts', 'under-way.ts'],
}

/** Files that lie beside an adapter's own and belong to it, or to the part that several share, by how their path starts. */
const PARTS: readonly (readonly [start: string, unit: string])[] = [
  ['src/channels/web-', 'channels/web'],
  ['src/channels/text-', 'channels/text'],
  ['src/pagers/mailbox', 'pagers/smtp'],
  ['src/pagers/webhook', 'pagers/webhook'],
  ['src/pagers/demo-', 'pagers/demo'],
  ['src/pagers/listen-here', 'pagers/demo'],
  ['src/pagers/received', 'pagers/demo'],
]

/** What a part of src is made of: its folder, or for a folder with a port `store` (the port) or `store/redis`. */
export function unitOf(path: string): string {
  const shared = PARTS.find(([start]) => path.startsWith(start))
  if (shared !== undefined) return shared[1]
  const [, folder = '', ...rest] = path.split('/')
  const port = PORTS[folder]
  if (port === undefined) return folder
  const [next = ''] = rest
  return rest.length === 1 && port.includes(next) ? folder : `${folder}/${next.replace(/\.ts$/, '')}`
}

/** The folders that decide. */
export const CORE = ['time', 'clinical', 'oncall', 'flow', 'case']

/** For each unit, the units it may import beside itself. An adapter may import its port and what its port may. */
export const MAY_IMPORT: Readonly<Record<string, readonly string[]>> = {
  time: [],
  clinical: ['time'],
  oncall: ['time'],
  flow: ['time', 'clinical'],
  case: ['time', 'clinical', 'flow', 'oncall'],
  understand: ['time', 'clinical', 'flow', 'case'],
  modelcheck: CORE,
  replay: [...CORE, 'modelcheck'],
  // Reviewers' scores and a clinic's figures, out of what is on record.
  review: [...CORE, 'replay'],
  points: [],
  store: ['time', 'case', 'oncall', 'accounts', 'points', 'review'],
  channels: ['time', 'case'],
  // Text messages: their alphabet and parts, and the connection that pages and families' words share.
  sms: ['time'],
  // The client of the Bot API, what an update means, and how updates are asked for: channel and pager share it.
  telegram: ['time'],
  pagers: ['time', 'case', 'points', 'sms', 'telegram'],
  'channels/web': ['time', 'case'],
  // What a reply is as lines of text, and which option a typed number means.
  'channels/text': ['time', 'case', 'channels/web'],
  // Who may do what, accounts, sessions, the audit trail: no storage, no web, nothing of a case.
  accounts: ['time', 'oncall'],
  config: ['time', 'clinical', 'flow', 'oncall'],
  calendar: ['time', 'oncall', 'config'],
  runtime: [...CORE, 'understand', 'store', 'channels', 'pagers', 'points'],
  http: [...CORE, 'accounts', 'replay', 'review', 'modelcheck', 'runtime', 'channels', 'channels/web'],
  measure: [...CORE, 'modelcheck', 'replay', 'review', 'runtime', 'store', 'channels', 'pagers', 'points'],
}

/** Units that an adapter may import beyond its port. */
const ADAPTER_EXTRAS: Readonly<Record<string, readonly string[]>> = {
  'channels/webchat': ['channels/web'],
  // The numbers that stand under every reply, on a page and in a terminal.
  'channels/terminal': ['channels/web', 'channels/text'],
  'channels/sms': ['channels/web', 'channels/text', 'sms'],
  'channels/telegram': ['channels/web', 'channels/text', 'telegram'],
  // The demonstration's receivers check what the pagers signed and wrote.
  'pagers/demo': ['pagers/webhook', 'pagers/smtp'],
}

function mayImport(unit: string): readonly string[] {
  const listed = MAY_IMPORT[unit]
  if (listed !== undefined) return listed
  const [port = ''] = unit.split('/')
  return [port, ...(MAY_IMPORT[port] ?? []), ...(ADAPTER_EXTRAS[unit] ?? [])]
}

/** Imports that go the wrong way, adapters named outside cli, and folders that the table does not know. */
export function wrongDirections(files: readonly Scan[]): Finding[] {
  return files.flatMap(file => {
    const unit = unitOf(file.path)
    if (unit === 'cli') return []
    const isKnown = unit in MAY_IMPORT || (unit.split('/')[0] ?? '') in PORTS
    if (!isKnown) {
      return [
        {
          path: file.path,
          line: 1,
          found: `src/${unit} is in no table`,
          instead: 'say in MAY_IMPORT what it may import',
        },
      ]
    }
    return file.imports
      .filter(({ from }) => from.startsWith('.'))
      .flatMap(({ at, from }) => {
        const target = unitOf(resolved(file.path, from))
        const allowed = mayImport(unit)
        if (target === unit || allowed.includes(target)) return []
        const instead = `${unit} may import ${allowed.length === 0 ? 'nothing of ours' : allowed.join(', ')}: ${adviceOn(unit, target)}`
        return [{ path: file.path, line: file.lineOf(at), found: `imports ${target} (${from})`, instead }]
      })
  })
}

function adviceOn(unit: string, target: string): string {
  if (!target.includes('/')) return 'move the idea down, or pass the value in'
  const isSibling = unit.split('/')[0] === target.split('/')[0]
  return isSibling
    ? 'an adapter knows no other adapter: move what both need into the port'
    : 'only cli names an adapter'
}

/** The path that a relative import means. */
export function resolved(path: string, from: string): string {
  return posix.join(posix.dirname(path), from)
}

/** Packages by unit; a unit that is not listed uses none. */
const PACKAGES: Readonly<Record<string, readonly string[]>> = {
  time: ['luxon'],
  flow: ['xstate', 'yaml', 'zod', 'intl-messageformat', '@formatjs/icu-messageformat-parser'],
  case: ['xstate'],
  // The shape of a transcript's lines; instants as other systems read them.
  replay: ['zod', 'luxon'],
  // The peer that the kernel is measured beside.
  measure: ['xstate'],
  // Typed times and telephone numbers, and the shape of a lexicon file; all three are pure.
  understand: ['zod', 'luxon', 'libphonenumber-js'],
  review: ['zod'],
  config: ['zod', 'yaml', 'luxon', 'libphonenumber-js'],
  calendar: ['rrule-temporal'],
  'store/redis': ['ioredis'],
  telegram: ['grammy'],
  'channels/web': ['hono'],
  'channels/webchat': ['hono', 'zod', 'qrcode'],
  'pagers/smtp': ['nodemailer'],
  sms: ['smpp'],
  'pagers/demo': ['smpp'],
  http: ['hono', '@hono/node-server', 'zod', 'qrcode', '@simplewebauthn/server', 'openid-client'],
  cli: ['qrcode', 'hono', '@hono/node-server', 'zod', 'yaml', 'luxon'],
}

/** Packages in a folder where they do not belong, or that the bot is not installed with. */
export function strayPackages(files: readonly Scan[], installed: readonly string[]): Finding[] {
  return files.flatMap(file => {
    const unit = unitOf(file.path)
    return file.imports
      .filter(({ from }) => !from.startsWith('.') && !from.startsWith('node:'))
      .flatMap(({ at, from }) => {
        const name = from.split('/', from.startsWith('@') ? 2 : 1).join('/')
        const line = file.lineOf(at)
        const homes = Object.keys(PACKAGES).filter(home => PACKAGES[home]?.includes(name))
        if (!(PACKAGES[unit] ?? []).includes(name)) {
          const instead = homes.length === 0 ? 'no part of src uses it' : `it belongs in ${homes.join(', ')} only`
          return [{ path: file.path, line, found: `imports the package ${name}`, instead }]
        }
        if (installed.includes(name)) return []
        const instead = 'list it under dependencies in package.json, with its reason in docs/decisions'
        return [{ path: file.path, line, found: `imports ${name}, which is no dependency of the bot`, instead }]
      })
  })
}

/** Scripts that the browser runs: served as files, never imported. */
export function isPageScript(path: string): boolean {
  return path.endsWith('.js') && !path.startsWith('src/cli/')
}
