import type { Context } from 'hono'
import { mayDo } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { isSecureRequest, secureHeaders } from '../../channels/web-guard.ts'
import { fieldIn } from '../gate.ts'
import type { ConsoleSite } from './console.ts'
import {
  type ConversationSaid,
  conversationScreen,
  flowsScreen,
  type PartRow,
  type PartView,
  type PartWords,
  partScreen,
  wordsScreen,
} from './flows-page.ts'

/** What became of an approval or its withdrawal, in words. */
export interface ApprovalSaid {
  readonly isDone: boolean
  readonly says: string
}

/** What the page *Flows* needs from the rest of the bot. */
export interface FlowsPorts {
  parts(): Promise<readonly PartRow[]>
  /** Undefined where there is no such part. */
  part(id: string, may: { readonly approve: boolean; readonly withdraw: boolean }): Promise<PartView | undefined>
  /** Undefined where there is no such part, or nothing of it in this language. */
  words(id: string, language: string): Promise<PartWords | undefined>
  /** Both conversations of a situation that goes differently; undefined where it is not known to. */
  conversation(part: string, situation: string): Promise<ConversationSaid | undefined>
  /** One sheet of a part's picture, as SVG. */
  sheet(id: string, number: number): string | undefined
  /** @param hash  of what was read: something else is not approved */
  approve(who: SignedIn, part: string, hash: string, languages: readonly string[]): Promise<ApprovalSaid>
  withdraw(who: SignedIn, part: string, why: string): Promise<ApprovalSaid>
}

export function flowsRoutes({ base, gate, answers, show, frame }: ConsoleSite, ports: FlowsPorts): void {
  const { wording } = base

  gate.get('/flows', 'see-content', async (c, who) =>
    show(c, who, '/flows', wording('flows-heading'), flowsScreen(await ports.parts(), frame())),
  )

  async function part(c: Context, who: SignedIn, note?: string, status = 200): Promise<Response> {
    const may = { approve: mayDo(who, 'approve-content'), withdraw: mayDo(who, 'withdraw-approval') }
    const view = await ports.part(c.req.param('part') ?? '', may)
    if (view === undefined) return answers.notice(c, 404, 'clinic-unknown')
    return show(c, who, '/flows', view.title, partScreen(view, frame(note)), { status })
  }
  gate.get('/flows/:part', 'see-content', (c, who) => part(c, who))

  gate.get('/flows/:part/words/:language', 'see-content', async (c, who) => {
    const words = await ports.words(c.req.param('part') ?? '', c.req.param('language') ?? '')
    if (words === undefined) return answers.notice(c, 404, 'clinic-unknown')
    return show(c, who, '/flows', words.title, wordsScreen(words, { wording }))
  })

  gate.get('/flows/:part/conversations/:situation', 'see-content', async (c, who) => {
    const said = await ports.conversation(c.req.param('part') ?? '', c.req.param('situation') ?? '')
    if (said === undefined) return answers.notice(c, 404, 'clinic-unknown')
    return show(c, who, '/flows', said.title, conversationScreen(said, { wording }))
  })

  gate.get('/flows/:part/picture/:number', 'see-content', async c => {
    const svg = ports.sheet(c.req.param('part') ?? '', Number(c.req.param('number')))
    if (svg === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const headers = secureHeaders('none', isSecureRequest(c.req.raw, answers.address))
    // Styles of the picture stand in it; nothing in it is a script, and nothing is fetched.
    const policy = "default-src 'none'; style-src 'unsafe-inline'"
    return new Response(svg, {
      headers: { ...headers, 'Content-Security-Policy': policy, 'Content-Type': 'image/svg+xml; charset=utf-8' },
    })
  })

  gate.post('/flows/:part/approve', 'approve-content', async (c, who, fields) => {
    const said = await ports.approve(
      who,
      c.req.param('part') ?? '',
      fieldIn(fields, 'hash'),
      fields.get('language') ?? [],
    )
    return part(c, who, said.says, said.isDone ? 200 : 409)
  })
  gate.post('/flows/:part/withdraw', 'withdraw-approval', async (c, who, fields) => {
    const said = await ports.withdraw(who, c.req.param('part') ?? '', fieldIn(fields, 'why'))
    return part(c, who, said.says, said.isDone ? 200 : 409)
  })
}
