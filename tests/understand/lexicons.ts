/** The shipped lexicons, and the labelled messages they are held against. */
import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import { lexiconOf } from '../../src/understand/lexicon.ts'

export const sharedFile = (name: string): unknown =>
  parse(readFileSync(fileURLToPath(new URL(`../../flows/shared/${name}`, import.meta.url)), 'utf8'), { version: '1.2' })

export const spanish = lexiconOf(sharedFile('lexicon.es.yaml'))

export interface Labelled {
  readonly id: string
  readonly lang: string
  readonly text: string
  readonly concern: string | readonly string[]
  readonly danger: readonly string[]
}

/** Lines of `messages.<language>.<half>.jsonl`. */
export const messages = (language: 'en' | 'es', half: 'tune' | 'held-out'): readonly Labelled[] =>
  readFileSync(fileURLToPath(new URL(`./messages.${language}.${half}.jsonl`, import.meta.url)), 'utf8')
    .trim()
    .split('\n')
    .map((line): Labelled => JSON.parse(line))
