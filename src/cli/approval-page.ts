import { stringify } from 'yaml'
import type { Approvable } from './approvable.ts'

/**
 * A part as a clinician reads it before approving: every text with what it makes a family do and what it rests on, then
 * where each step leads. Plain text, nothing left out: the page is made from the very content that is hashed.
 */
export function approvalPage({ id, title, hash, text }: Approvable): string {
  const content = JSON.parse(text) as Content
  const head = [
    `${id}: ${title}`,
    `Hash ${hash}`,
    'Nothing here was reviewed by a clinician as shipped. Hold it against your own protocol.',
  ]
  return [...head, ...sectionsOf(content)].join('\n')
}

interface Content {
  readonly wording?: Readonly<Record<string, Readonly<Record<string, string>>>>
  readonly advice?: Readonly<Record<string, Advice>>
  readonly sources?: Readonly<Record<string, { readonly title: string; readonly body?: string; readonly how: string }>>
  readonly [key: string]: unknown
}

interface Advice {
  readonly tags: readonly string[]
  readonly 'rests-on'?: readonly string[]
  readonly practice?: string
  readonly own?: string
}

function sectionsOf({ wording = {}, advice = {}, sources, ...rest }: Content): readonly string[] {
  const words = Object.entries(wording).flatMap(([language, texts]) => [
    ...section(
      `What families are told, in ${language}`,
      Object.entries(texts)
        .filter(([id]) => id.startsWith('say/'))
        .flatMap(([id, text]) => [`${id}: ${text}`, ...restOf(advice[id.slice('say/'.length)])]),
    ),
    ...section(
      `Other words, in ${language}: questions, buttons, withdrawals, pages`,
      Object.entries(texts)
        .filter(([id]) => !id.startsWith('say/'))
        .map(([id, text]) => `${id}: ${text}`),
    ),
  ])
  const cited = Object.entries(sources ?? {}).map(
    ([id, { title, body, how }]) => `${id}: ${title}${body === undefined ? '' : `, ${body}`} (${how})`,
  )
  return [
    ...words,
    ...section('Sources', cited),
    ...Object.entries(rest).flatMap(([key, value]) => section(key, stringify(value).trimEnd().split('\n'))),
  ]
}

function restOf(advice: Advice | undefined): readonly string[] {
  if (advice === undefined) return []
  const why = advice['rests-on']?.join(', ') ?? advice.practice ?? advice.own
  const does = advice.tags.length === 0 ? 'asks for no act' : advice.tags.join(', ')
  return [`    ${does}${why === undefined ? '' : `; rests on: ${why}`}`]
}

const section = (title: string, lines: readonly string[]): readonly string[] =>
  lines.length === 0 ? [] : ['', title.toUpperCase(), ...lines]
