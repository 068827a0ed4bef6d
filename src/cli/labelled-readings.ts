import { fileURLToPath } from 'node:url'
import type { LabelledReading } from '../measure/subject.ts'
import type { Lexicon } from '../understand/lexicon.ts'
import { messageFigures } from '../understand/message-figures.ts'
import { timeFigures } from '../understand/time-figures.ts'
import { readFlowFiles } from './flow-files.ts'
import { lexiconsAmong } from './lexicons.ts'
import { type LabelledLine, readMessages, rowOf } from './understand.ts'
import { factsIn, readTimeLines, timeRow } from './understand-times.ts'

/** Languages that have labelled lines; these come with the tests. */
const LANGUAGES = ['en', 'es'] as const

const labelledFile = (name: string): string => fileURLToPath(new URL(`../../tests/understand/${name}`, import.meta.url))

/** Every labelled message, whichever half it is in. */
export function labelledTexts(): readonly string[] {
  return LANGUAGES.flatMap(language =>
    ['tune', 'held-out'].flatMap(half => readMessages(labelledFile(`messages.${language}.${half}.jsonl`))),
  ).map(({ text }) => text)
}

/** The shares that are promised of each language: of messages never tuned on, and of words about time. */
export function labelledReadings(): readonly LabelledReading[] {
  const files = readFlowFiles()
  const lexicons = lexiconsAmong(files)
  return LANGUAGES.flatMap(language => {
    const messages = readMessages(labelledFile(`messages.${language}.held-out.jsonl`))
    const times = readTimeLines(labelledFile(`times.${language}.jsonl`))
    const verdicts = times.map(line => timeRow(line, factsIn(files), lexicons).verdict)
    const { right, asked, unsafe } = timeFigures(verdicts)
    const lines = `${times.length} labelled words about time`
    return [
      ...messageReadings(language, messages, lexicons),
      { name: `times right or asked again, ${language}`, share: (right + asked) / times.length, target: 0.98, lines },
      { name: `times never read milder, ${language}`, share: 1 - unsafe / times.length, target: 1, lines },
    ]
  })
}

function messageReadings(
  language: string,
  messages: readonly LabelledLine[],
  lexicons: ReadonlyMap<string, Lexicon>,
): readonly LabelledReading[] {
  const { danger, concern } = messageFigures(
    messages,
    messages.map(line => rowOf(line, lexicons)),
  )
  const lines = `${messages.length} labelled messages never tuned on`
  return [
    { name: `danger signs found, ${language}`, share: danger.recall, target: 0.99, lines },
    { name: `danger signs found that are there, ${language}`, share: danger.precision, target: 0.9, lines },
    {
      name: `concern right or buttons shown, ${language}`,
      share: concern.rightOrAsked / messages.length,
      target: 0.98,
      lines,
    },
    { name: `concern right at once, ${language}`, share: concern.right / messages.length, target: 0.9, lines },
  ]
}
