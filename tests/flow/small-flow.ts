import { readFileSync } from 'node:fs'

/** The lists the words are checked by, as shipped. */
const list = (name: string): string => readFileSync(new URL(`../../flows/shared/${name}`, import.meta.url), 'utf8')

/** A whole flows folder in few lines, sound as it stands: what a fault is put into. */
export const SMALL: Readonly<Record<string, string>> = {
  'shared/facts.yaml': `facts:
  danger-signs: { kind: many, values: [breathing, none], apart: [none], act-at-once: true }
  in-opening: { kind: choice, values: [nothing, same-tube] }
  travel: { kind: length, taps: { up-to-an-hour: [PT30M, PT60M], in-words: words } }
  out-since: { kind: moment, taps: { just-now: [PT0M, PT5M] } }
  danger-seen: { kind: choice, values: [yes], sticky: true, settable: true }
  attempt: { kind: choice, values: [made], sticky: true, settable: true }
derived:
  danger: { values: [present, absent, unknown], from: [danger-signs] }
  closure: { values: [time-left, leave-now], from: [out-since, travel] }
policies:
  family-ph: [on, off]
`,
  'shared/tags.yaml': `tags:
  call-emergency: { means: ring the emergency number }
  cover-opening: { means: cover the opening }
  puts-into-site: { means: put a tube in, hazardous: true, words: { en: [put tube in, insert tube] } }
`,
  'shared/steps.yaml': `steps:
  emergency:
    decide: ambulance
    set: { danger-seen: yes }
    say: [ring-now]
    page: danger
    wait: true
  person:
    decide: speak
    page: person
    go: resume
  cannot-travel:
    page: cannot-travel
    go: resume
`,
  'shared/sources.yaml': `sources:
  leaflet: { title: A leaflet, how: direct }
advice:
  ring-now:
    tags: [call-emergency]
    closes-replies: true
    rests-on: [leaflet]
`,
  'shared/lint.yaml': list('lint.yaml'),
  'shared/lint.en.yaml': list('lint.en.yaml'),
  'shared/wording.en.yaml': `say/ring-now: "Ring {emergency} now."
reason/danger: Danger.
reason/person: A person is wanted.
reason/cannot-travel: Cannot travel.
ask/danger-signs: Any of these?
label/danger-signs: Danger signs
option/danger-signs/breathing: Fighting for breath
option/danger-signs/none: None of these
ask/in-opening: What is in the opening?
label/in-opening: In the opening
option/in-opening/nothing: Nothing
option/in-opening/same-tube: The same tube
`,
  'tube-out/flow.yaml': `concern: tube-out
start: hold
steps:
  hold:
    say: [cover]
    go: danger
  danger:
    ask: danger-signs
    route:
      - { if: { danger: [present] }, go: shared/emergency }
      - { go: opening }
  opening:
    ask: in-opening
    route:
      - { if: { in-opening: [nothing], family-ph: [on] }, go: leave }
      - { go: leave }
  leave:
    decide: set-out
    alarms:
      - { name: left, after: left-check, go: again }
      - { name: late, at: leave-by, go: again }
    wait: true
  again:
    cancel: [left]
    wait: true
`,
  'tube-out/sources.yaml': `sources: {}
advice:
  cover:
    tags: [cover-opening]
    rests-on: [leaflet]
`,
  'tube-out/wording.en.yaml': `say/cover: Cover the opening.
`,
}

/** Where the fault of a text is to be reported: the mark stands before the character. */
const MARK = '▶'

export interface Marked {
  readonly files: ReadonlyMap<string, string>
  readonly line: number
  readonly column: number
}

/** The small folder with one piece of a file replaced. `to` holds the mark; line and column count from 1. */
export function smallWith(
  file: string,
  from: string,
  to: string,
  base: Readonly<Record<string, string>> = SMALL,
): Marked {
  const text = base[file] ?? ''
  if (from !== '' && text.split(from).length !== 2) throw new Error(`"${from}" is to stand once in ${file}`)
  const marked = from === '' ? to : text.replace(from, () => to)
  const before = marked.slice(0, marked.indexOf(MARK)).split('\n')
  if (!marked.includes(MARK)) throw new Error('the fault has no mark')
  return {
    files: new Map(Object.entries({ ...base, [file]: marked.replace(MARK, '') })),
    line: before.length,
    column: (before.at(-1) ?? '').length + 1,
  }
}
