/** Generated conversations on the whole bot: terminal channel, runtime, SQLite store, and a clock moved by hand. */
import type { Part } from '../../src/case/message.ts'
import { DEMO_CLINIC, type LoadedLine, loadLine } from '../../src/cli/load-line.ts'
import { playQuietly } from '../../src/cli/script-night.ts'
import { scriptOf } from '../../src/cli/script-play.ts'
import { flatten } from '../../src/modelcheck/model/flat-flow.ts'
import { type Told, tell } from '../../src/modelcheck/telling/tell.ts'
import { toldLines, toldScript } from '../../src/modelcheck/telling/text.ts'
import { NIGHT } from './a-line.ts'
import { type GeneratedPath, generatedPaths } from './generated-paths.ts'

export interface Played {
  readonly path: GeneratedPath
  /** Undefined where the bot alone parts from the model, by time: no instants let it all happen in this order. */
  readonly told: Told | undefined
  /** What was not the same, with the whole conversation; undefined when all is well. */
  readonly problem: string | undefined
}

export function shippedLine(): LoadedLine {
  const { loaded } = loadLine({ clinicDir: DEMO_CLINIC, at: NIGHT })
  if (loaded === undefined) throw new Error('the demonstration cannot be loaded')
  return loaded
}

/** All paths of a flow, or every so many of them from a beginning. */
export function* pathsOf(loaded: LoadedLine, concern: string, from = 0, every = 1): Generator<() => Promise<Played>> {
  const flow = loaded.line.flows.flows.get(concern)
  if (flow === undefined) throw new Error(`no flow "${concern}"`)
  const flat = flatten(flow, loaded.line.flows)
  const paths = generatedPaths(flat)
  for (let at = from; at < paths.length; at += every) {
    const path = paths[at] as GeneratedPath
    yield async () => {
      const told = tell({ line: loaded.line, flat, way: path.moves, resume: 'replay' })
      if (!told.isShown) return { path, told: undefined, problem: undefined }
      return { path, told, problem: await playedProblem(loaded, told, path) }
    }
  }
}

/** Plays what was told, and compares what the family reads, part by part, and where talk ends. */
async function playedProblem(loaded: LoadedLine, told: Told, path: GeneratedPath): Promise<string | undefined> {
  const script = scriptOf(toldScript(told, 'A generated conversation.'), 'generated')
  const read: string[] = []
  const state = await playQuietly(loaded, script, outgoing => read.push(...textsOf(outgoing.parts)))
  const wanted = told.entries.flatMap(entry => (entry.kind === 'bot' ? textsOf(entry.parts) : []))
  const at = wanted.findIndex((text, index) => read[index] !== text)
  const isSame = at === -1 && read.length === wanted.length && state?.kernel.talk === path.talk
  if (isSame) return undefined
  const place = at === -1 ? Math.min(read.length, wanted.length) : at
  return [
    ...toldLines(told, loaded.line),
    `the model says   ${wanted[place] ?? 'nothing more'}`,
    `the family reads ${read[place] ?? 'nothing more'}`,
    `talk ends at ${state?.kernel.talk}, and in the model at ${path.talk}`,
  ].join('\n')
}

/** The words of a message; what names the case differs from play to play. */
const textsOf = (parts: readonly Part[]): string[] =>
  parts.map(part => part.text.replaceAll(/\b(Sun|Mon|Tue|Wed|Thu|Fri|Sat) \d{4}\b/g, 'CODE'))
