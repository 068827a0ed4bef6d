import { setTimeout as pause } from 'node:timers/promises'
import type { Draws } from './draws.ts'
import { plain, type ReadPage, type ReadQuestion, readPage } from './family-page.ts'
import type { Chat, Ledger } from './ledger.ts'
import type { Post } from './promises.ts'
import { DANGER_WORDS, ODD_WORDS, OTHER_FIRST_WORDS, OUT_WORDS, wordsFor } from './sayings.ts'

export interface FamilyRun {
  readonly chat: Chat
  readonly draws: Draws
  readonly ledger: Ledger
  readonly thinkSeconds: number
  /** Probability that an answer is typed. */
  readonly types: number
  readonly hasScript: boolean
  /** True once no new message may be begun. */
  readonly isOver: () => boolean
}

type Fields = readonly (readonly [string, string])[]
type How = 'plain' | 'twice' | 'lost-half-way' | 'lost-after'

/** Most messages of one conversation. */
const TURNS_MOST = 30
/** How long an answer is waited for before it counts as none, in ms. */
const ANSWER_MOST_MS = 30_000
/** Tries of one message whose connection was lost or that was turned away. */
const TRIES_MOST = 10

/** One family's conversation from its first message until it has nothing more to do. Never rejects for the bot's sake. */
export async function converse(run: FamilyRun): Promise<void> {
  const { chat, draws } = run
  const { phone } = chat
  let heard = 0
  let close: (() => void) | undefined
  try {
    let page = await read(run)
    await rest(run, 0.4)
    page = await begin(run, page)
    // The stream opens as the script does: once there is something to follow.
    if (run.hasScript) {
      close = phone.listen('/stream', event => {
        if (event === 'log') heard += 1
      })
    }
    let turns = 0
    let waits = draws.whole(2, 10)
    const leavesAfter = draws.chance(0.08) ? draws.whole(1, 6) : TURNS_MOST
    while (!run.isOver() && turns < leavesAfter && waits > 0) {
      if (page.question === undefined) {
        waits -= 1
        if (draws.chance(0.15)) page = await write(run, page, draws.pick(ODD_WORDS))
        const before = heard
        for (let seconds = draws.whole(5, 20); seconds > 0 && heard === before && !run.isOver(); seconds -= 1)
          await pause(1_000)
        page = await read(run)
        continue
      }
      turns += 1
      page = await turn(run, page, page.question)
    }
  } finally {
    close?.()
  }
}

async function begin(run: FamilyRun, page: ReadPage): Promise<ReadPage> {
  const { draws, chat } = run
  const [concern] = page.concerns
  if (concern !== undefined && draws.chance(0.15)) return say(run, [['concern', concern.value]], { said: undefined })
  const saysOut = draws.chance(0.92)
  const words = saysOut ? draws.pick(OUT_WORDS) : draws.pick(OTHER_FIRST_WORDS)
  const text = draws.chance(0.7) ? `${words} ${chat.planted}` : words
  return write(run, page, text, howOf(draws), saysOut)
}

/** One message: mostly the answer to what is asked, sometimes anything a tired person does with a phone. */
async function turn(run: FamilyRun, page: ReadPage, question: ReadQuestion): Promise<ReadPage> {
  const { draws, ledger, chat } = run
  await rest(run, 1)
  if (run.isOver()) return page
  const dice = draws.unit()
  if (dice < 0.03) {
    ledger.count('silences')
    for (let seconds = draws.whole(60, 240); seconds > 0 && !run.isOver(); seconds -= 1) await pause(1_000)
    return read(run)
  }
  if (dice < 0.05) return read(run) // reloads
  if (dice < 0.07) return write(run, page, draws.pick(DANGER_WORDS))
  if (dice < 0.11) return write(run, page, draws.pick(ODD_WORDS))
  if (dice < 0.14 && page.controls.includes('person')) return press(run, 'person')
  if (dice < 0.15 && page.controls.includes('cannot-travel')) return press(run, 'cannot-travel')
  if (dice < 0.16 && page.controls.includes('wrong-tap')) return press(run, 'wrong-tap')
  if (dice < 0.17 && page.controls.includes('they-rang')) return press(run, 'they-rang')
  if (dice < 0.18 && page.controls.includes('new-child')) {
    ledger.count('second children')
    return press(run, 'new-child')
  }
  if (dice < 0.23 && page.changeable.length > 0) {
    ledger.count('corrections')
    return say(
      run,
      [
        ['control', 'change'],
        ['subject', draws.pick(page.changeable)],
      ],
      { said: undefined },
    )
  }
  if (dice < 0.27) return twoTabs(run, question)
  if (draws.chance(run.types)) {
    const text = wordsFor(question.options, draws)
    return write(run, page, draws.chance(0.1) ? `${text} ${chat.planted}` : text, howOf(draws))
  }
  return choose(run, question, howOf(draws))
}

function howOf(draws: Draws): How {
  const dice = draws.unit()
  return dice < 0.06 ? 'twice' : dice < 0.09 ? 'lost-half-way' : dice < 0.12 ? 'lost-after' : 'plain'
}

/** The same question open in two tabs, answered in both. */
async function twoTabs(run: FamilyRun, question: ReadQuestion): Promise<ReadPage> {
  run.ledger.count('two tabs')
  const second = choose(run, question, 'plain')
  await Promise.all([choose(run, question, 'plain'), second])
  return read(run)
}

function choose(run: FamilyRun, question: ReadQuestion, how: How): Promise<ReadPage> {
  const chosen = optionsOf(run, question)
  const fields: Fields = [['serial', String(question.serial)], ...chosen.map(({ value }) => ['value', value] as const)]
  return say(run, fields, { said: chosen.map(({ label }) => label).join(', '), how })
}

function optionsOf({ draws }: FamilyRun, { options, several }: ReadQuestion) {
  const apart = options.filter(option => option.apart)
  const others = options.filter(option => !option.apart)
  const named = (value: string) => options.filter(option => option.value === value).slice(0, 1)
  if (draws.chance(0.1) && named('not-sure').length > 0) return named('not-sure')
  const isDanger = named('breathing').length > 0
  if (isDanger && !draws.chance(0.1)) return named('none')
  // A time read back, and anything else asked with yes or no: mostly yes.
  if (others.length === 2 && named('yes').length > 0 && draws.chance(0.7)) return named('yes')
  if (several && named('none').length > 0 && draws.chance(0.6)) return named('none')
  const from = others.length > 0 ? others : apart
  const first = draws.pick(from)
  if (!several || isDanger || draws.chance(0.7)) return [first]
  const second = draws.pick(from)
  return from.filter(option => option === first || option === second)
}

const press = (run: FamilyRun, control: string): Promise<ReadPage> => {
  run.ledger.count(`pressed ${control}`)
  return say(run, [['control', control]], { said: undefined })
}

const write = (run: FamilyRun, _page: ReadPage, text: string, how: How = 'plain', saysOut = false): Promise<ReadPage> =>
  say(run, [['text', text]], { said: plain(text), how, saysOut })

/** Sends one message until it is taken, then reads until it is answered; the page as it then is. */
async function say(
  run: FamilyRun,
  fields: Fields,
  { said, how = 'plain', saysOut = false }: { said: string | undefined; how?: How; saysOut?: boolean },
): Promise<ReadPage> {
  const { chat, draws, ledger } = run
  const all: Fields = [['nonce', draws.letters(16)], ...fields]
  const post: Post = { chat: chat.id, said, sentAt: Date.now(), saysOut }
  chat.posts.push(post)
  note(run, `> ${how === 'plain' ? '' : `(${how}) `}${said ?? fields.map(pair => pair.join('=')).join(' ')}`)
  if (how !== 'plain') ledger.count(how)
  const started = performance.now()
  if (how === 'lost-half-way' || how === 'lost-after')
    await chat.phone.postLost('/say', all, how === 'lost-after' ? 'after' : 'half-way')
  await Promise.all(how === 'twice' ? [taken(run, post, all), taken(run, post, all)] : [taken(run, post, all)])
  if (post.takenAt === undefined) return read(run)
  for (;;) {
    const page = await read(run)
    const answer = answerTo(page, post)
    if (answer !== undefined) {
      post.answeredMs = performance.now() - started
      post.answer = answer
      note(run, `< ${Math.round(post.answeredMs)} ms: ${answer.slice(0, 300)}`)
      return page
    }
    if (performance.now() - started > ANSWER_MOST_MS) {
      note(run, `< no answer in ${ANSWER_MOST_MS / 1000} s`)
      return page
    }
    await pause(150)
  }
}

/** Sends until the server says it has it. */
async function taken({ chat, ledger }: FamilyRun, post: Post, fields: Fields): Promise<void> {
  for (let tries = 0; tries < TRIES_MOST; tries += 1) {
    const answer = await chat.phone.post('/say', fields).catch(() => undefined)
    if (answer?.status === 303 || answer?.status === 200) {
      post.takenAt ??= Date.now()
      return
    }
    if (answer !== undefined && answer.status < 500) {
      ledger.broken.push({
        promise: 'none-refused',
        chat: chat.id,
        what: `"${post.said}" was answered ${answer.status}`,
      })
      return
    }
    ledger.count('sent again')
    await pause(answer?.retryAfter === undefined ? 500 : Number(answer.retryAfter) * 1_000)
  }
  ledger.broken.push({
    promise: 'none-refused',
    chat: chat.id,
    what: `"${post.said}" was not taken in ${TRIES_MOST} tries`,
  })
}

/** The bot's words right after a message in the log; for a control, which leaves no line, whatever it said since. */
function answerTo({ lines }: ReadPage, post: Post): string | undefined {
  // The server's clock is this machine's; a line may carry the millisecond before.
  const since = post.sentAt - 5
  if (post.said === undefined) return lines.findLast(line => line.who === 'bot' && line.at >= since)?.text
  for (const [i, line] of lines.entries()) {
    if (line.who !== 'family' || line.words !== post.said || line.at < since) continue
    const next = lines[i + 1]
    if (next !== undefined && next.who !== 'family') return next.text
  }
  return undefined
}

/** Reads the page, with script only the part that changes; looks for words of others. */
export async function read(
  run: FamilyRun,
  path = run.hasScript && run.chat.posts.length > 0 ? '/log' : '/',
): Promise<ReadPage> {
  const { chat, ledger } = run
  for (;;) {
    const answer = await chat.phone.get(path).catch(() => undefined)
    if (answer === undefined || answer.status >= 500) {
      ledger.count('read again')
      await pause(500)
      if (run.isOver() && answer === undefined) throw new Error('the server has gone')
      continue
    }
    const page = readPage(answer.body)
    if (page.code !== undefined) chat.codes.add(page.code)
    ledger.look(chat, answer.body)
    return page
  }
}

/** A think time: 2 to 90 seconds, log-normal around the caregiver's own; cut short when the run ends. */
async function rest({ draws, thinkSeconds, isOver }: FamilyRun, share: number): Promise<void> {
  const until = performance.now() + draws.around(thinkSeconds, 0.7, 2, 90) * share * 1_000
  while (performance.now() < until && !isOver()) await pause(Math.min(1_000, Math.max(1, until - performance.now())))
}

function note({ chat }: FamilyRun, line: string): void {
  chat.transcript.push(`${new Date().toISOString().slice(11, 23)} ${line}`)
}
