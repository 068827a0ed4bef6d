import type { Context } from 'hono'
import { type Action, mayDo } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import type { ChangeKind } from './change-page.ts'
import { type ChangePorts, changeRoutes } from './change-routes.ts'
import type { ConsoleSite } from './console.ts'
import type { OnCallPorts } from './on-call-routes.ts'
import { type SettingsView, settingsScreen } from './settings-page.ts'

/** What the page *Settings* needs from the rest of the bot. */
export interface SettingsPorts extends ChangePorts, Pick<OnCallPorts, 'undo'> {
  /** @param may  whether this person may do this */
  settings(may: (action: Action) => boolean): Promise<SettingsView>
}

/** What the page changes, with the right it takes. */
export const SETTING_KINDS = {
  setting: 'change-settings',
  'families-number': 'change-clinic',
  hospital: 'change-clinic',
  hours: 'change-clinic',
  date: 'change-clinic',
  retention: 'change-clinic',
} as const satisfies Partial<Record<ChangeKind, Action>>

export function settingsRoutes(site: ConsoleSite, ports: SettingsPorts): void {
  const { base, gate, answers, show, frame } = site
  const { wording } = base

  async function settings(c: Context, who: SignedIn, note?: string, status = 200): Promise<Response> {
    const view = await ports.settings(action => mayDo(who, action))
    return show(c, who, '/settings', wording('settings-heading'), settingsScreen(view, frame(note)), { status })
  }

  const DID = new Set(['saved', 'undone'])
  gate.get('/settings', 'see-settings', (c, who) => {
    const did = c.req.query('did') ?? ''
    return settings(c, who, DID.has(did) ? wording(`settings-did-${did}`) : undefined)
  })
  changeRoutes(site, ports, { page: '/settings', kinds: SETTING_KINDS })
  gate.post('/settings/undo', 'change-clinic', async (c, who) => {
    const undone = await ports.undo(who)
    if (undone === 'done') return answers.goTo(c, '/settings?did=undone')
    return settings(c, who, wording(`on-call-undo-${undone}`), 409)
  })
}
