/** What a family reads on its page, taken from the markup as a browser without script gets it. */

export interface ReadLine {
  /** Milliseconds since 1970. */
  readonly at: number
  readonly who: 'bot' | 'family' | 'clinician'
  /** The family's own words or the label it tapped. */
  readonly words?: string
  /** Everything else in the line, spaces as one. */
  readonly text: string
}

export interface ReadQuestion {
  readonly serial: number
  readonly text: string
  readonly options: readonly { readonly value: string; readonly label: string; readonly apart: boolean }[]
  /** Several may be ticked. */
  readonly several: boolean
}

export interface ReadPage {
  readonly lines: readonly ReadLine[]
  readonly question: ReadQuestion | undefined
  /** Nonce of the page's forms. */
  readonly nonce: string
  readonly concerns: readonly { readonly value: string; readonly label: string }[]
  readonly controls: readonly string[]
  /** Facts whose answer can be changed. */
  readonly changeable: readonly string[]
  readonly code: string | undefined
}

export function readPage(markup: string): ReadPage {
  const before = markup.slice(0, markup.indexOf('id="now"') >>> 0)
  const now = markup.slice(before.length)
  return {
    lines: linesIn(before),
    question: questionIn(now),
    nonce: /name="nonce" value="([^"]+)"/.exec(now === '' ? markup : now)?.[1] ?? nonceIn(markup),
    concerns: [...markup.matchAll(/<button[^>]*name="concern" value="([^"]+)"[^>]*>([\s\S]*?)<\/button>/g)].map(
      ([, value = '', label = '']) => ({ value, label: textOf(label) }),
    ),
    controls: [
      ...new Set([...now.matchAll(/name="control" value="([\w-]+)"/g)].map(([, control = '']) => control)),
    ].filter(control => control !== 'change'),
    changeable: [
      ...new Set([...markup.matchAll(/name="subject" value="([\w-]+)"/g)].map(([, subject = '']) => subject)),
    ],
    code: /Your case code: (\w+ \d+)/.exec(textOf(now))?.[1],
  }
}

const nonceIn = (markup: string): string => /name="nonce" value="([^"]+)"/.exec(markup)?.[1] ?? ''

export function linesIn(markup: string): ReadLine[] {
  return [
    ...markup.matchAll(/<article class="line (\w+)"[^>]*>\s*<time datetime="([^"]+)">([\s\S]*?)<\/article>/g),
  ].map(([, who = '', at = '', inside = '']) => {
    const said = inside.slice(inside.indexOf('<div class="said">'))
    const words = /<p class="words"[^>]*>([\s\S]*?)<\/p>/.exec(said)?.[1]
    const rest = said
      .replace(/<form[\s\S]*?<\/form>/g, '')
      .replace(/<p class="words"[^>]*>[\s\S]*?<\/p>/, '')
      .replace(/<p class="who"[^>]*>[\s\S]*?<\/p>/, '')
    return {
      at: Date.parse(at),
      who: who === 'family' || who === 'clinician' ? who : 'bot',
      text: textOf(rest),
      ...(words === undefined ? {} : { words: textOf(words) }),
    }
  })
}

function questionIn(markup: string): ReadQuestion | undefined {
  const ask = /<section class="ask"[^>]*data-serial="(\d+)">([\s\S]*?)<\/section>/.exec(markup)
  if (ask === null) return undefined
  const [, serial = '', inside = ''] = ask
  const apartAt = inside.indexOf('<div class="apart">')
  const buttons = [...inside.matchAll(/<button name="value" value="([^"]+)"[^>]*>([\s\S]*?)<\/button>/g)]
  const ticks = [...inside.matchAll(/<input type="checkbox" name="value" value="([^"]+)"><span>([\s\S]*?)<\/span>/g)]
  const options = [...ticks, ...buttons].map(match => ({
    value: match[1] ?? '',
    label: textOf((match[2] ?? '').replace(/<svg[\s\S]*?<\/svg>/g, '')),
    apart: apartAt >= 0 && match.index > apartAt,
  }))
  const text = textOf(/<h2 id="question"[^>]*>([\s\S]*?)<\/h2>/.exec(inside)?.[1] ?? '')
  return { serial: Number(serial), text, options, several: ticks.length > 0 }
}

/** Text without tags, entities resolved, spaces as one. */
export function textOf(markup: string): string {
  return plain(
    markup
      .replace(/<[^>]*>/g, ' ')
      .replace(/&#39;/g, "'")
      .replace(/&quot;/g, '"')
      .replace(/&lt;/g, '<')
      .replace(/&gt;/g, '>')
      .replace(/&amp;/g, '&'),
  )
}

/** Spaces as one, none at the ends: how words are compared. */
export const plain = (text: string): string => text.replace(/\s+/g, ' ').trim()
