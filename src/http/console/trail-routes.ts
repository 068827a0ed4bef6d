import type { SignedIn } from '../../accounts/signed-in.ts'
import { isSecureRequest, secureHeaders } from '../../channels/web-guard.ts'
import type { ConsoleSite } from './console.ts'
import { type TrailAsked, type TrailView, trailScreen } from './trail-page.ts'

/** What the page of the audit trail needs from the rest of the bot. */
export interface TrailPorts {
  /** @param before  only lines with a smaller number; left out: from the end */
  trail(asked: TrailAsked, before: number | undefined): Promise<TrailView>
  /** The whole trail as JSON lines, which `smallhours audit verify` reads; the export stands in the trail itself. */
  exported(who: SignedIn): Promise<string>
}

export function trailRoutes({ base, gate, answers, show, frame }: ConsoleSite, ports: TrailPorts): void {
  const { wording } = base

  gate.get('/trail', 'see-audit', async (c, who) => {
    const said = (name: string): string => (c.req.query(name) ?? '').slice(0, 80)
    const before = /^\d{1,12}$/.test(said('before')) ? Number(said('before')) : undefined
    const view = await ports.trail({ who: said('who'), did: said('did') }, before)
    return show(c, who, '/trail', wording('trail-heading'), trailScreen(view, frame()))
  })

  gate.post('/trail/export', 'see-audit', async (c, who) => {
    const headers = secureHeaders('none', isSecureRequest(c.req.raw, answers.address))
    return new Response(await ports.exported(who), {
      headers: {
        ...headers,
        'Content-Type': 'application/x-ndjson; charset=utf-8',
        'Content-Disposition': 'attachment; filename="trail.jsonl"',
      },
    })
  })
}
