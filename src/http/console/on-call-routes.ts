import type { Context } from 'hono'
import { mayDo } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { type Fields, fieldIn } from '../gate.ts'
import {
  CHANGES,
  type ChangeForm,
  type ChangeKind,
  type ChangePreview,
  changeScreen,
  FIELDS,
  previewScreen,
} from './change-page.ts'
import type { ConsoleSite } from './console.ts'
import type { NowFrame } from './now-page.ts'
import { keyIn } from './now-routes.ts'
import { type OnCallView, onCallScreen } from './on-call-page.ts'

/** A change as somebody asked for it: the file as they saw it, and the fields as they filled them in. */
export interface ChangeAsked {
  readonly kind: ChangeKind
  readonly seen: string
  readonly values: Readonly<Record<string, string>>
}

export type Looked =
  | { readonly kind: 'preview'; readonly preview: ChangePreview }
  /** Somebody else changed the file: what they changed, and the same change made anew on theirs. */
  | { readonly kind: 'stale'; readonly because: string; readonly preview?: ChangePreview; readonly seen: string }
  | { readonly kind: 'refused'; readonly because: string; readonly seen: string }

export type Saved = { readonly kind: 'saved' } | Exclude<Looked, { readonly kind: 'preview' }>

/** What the page *On call* needs from the rest of the bot. */
export interface OnCallPorts {
  /** @param month  `2026-03`; the present one where it is left out or none */
  view(who: SignedIn, month: string | undefined, mayChange: boolean): Promise<OnCallView>
  form(kind: ChangeKind, given: Readonly<Record<string, string>>): Promise<ChangeForm>
  look(asked: ChangeAsked): Promise<Looked>
  /** @param cases  open cases that page whoever is on call then, too */
  save(who: SignedIn, asked: ChangeAsked, cases: readonly string[]): Promise<Saved>
  /** Takes back what was changed last, within ten minutes. */
  undo(who: SignedIn): Promise<'done' | 'too-late' | 'changed-since'>
  /** Sends a test call-out; undefined where nobody has this id or no way to be reached. */
  test(who: SignedIn, person: string, key: string): Promise<string | undefined>
}

export function onCallRoutes({ base, gate, answers, show }: ConsoleSite, ports: OnCallPorts): void {
  const { wording } = base
  const frame = (note?: string): NowFrame => ({
    wording,
    clockText: at => base.clockText(at),
    formNonce: base.randomId(),
    ...(note === undefined ? {} : { note }),
  })

  async function onCall(c: Context, who: SignedIn, note?: string, status = 200): Promise<Response> {
    const view = await ports.view(who, c.req.query('month'), mayDo(who, 'change-on-call'))
    return show(c, who, '/on-call', wording('on-call-heading'), onCallScreen(view, frame(note)), { status })
  }

  const DID = new Set(['saved', 'undone', 'tested'])
  gate.get('/on-call', 'see-on-call', (c, who) => {
    const did = c.req.query('did') ?? ''
    return onCall(c, who, DID.has(did) ? wording(`on-call-did-${did}`) : undefined)
  })

  const formPage = async (
    c: Context,
    who: SignedIn,
    asked: Pick<ChangeAsked, 'kind' | 'values'>,
    note?: string,
    status = 200,
  ) => {
    const change = await ports.form(asked.kind, asked.values)
    return show(c, who, '/on-call', wording(`on-call-${asked.kind}`), changeScreen(change, frame(note)), { status })
  }
  const previewPage = (c: Context, who: SignedIn, preview: ChangePreview, note?: string, status = 200) =>
    show(c, who, '/on-call', wording('on-call-preview'), previewScreen(preview, frame(note)), { status })

  const kindIn = (c: Context): ChangeKind | undefined => CHANGES.find(kind => kind === c.req.param('kind'))

  gate.get('/on-call/change/:kind', 'change-on-call', async (c, who) => {
    const kind = kindIn(c)
    if (kind === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const given = Object.fromEntries(FIELDS[kind].map(name => [name, c.req.query(name) ?? '']))
    const filled = Object.fromEntries(Object.entries(given).filter(([, value]) => value !== ''))
    if (kind !== 'take-back') return formPage(c, who, { kind, values: filled })
    const { seen } = await ports.form(kind, filled)
    return looked(c, who, { kind, seen, values: filled })
  })

  async function looked(c: Context, who: SignedIn, asked: ChangeAsked): Promise<Response> {
    const found = await ports.look(asked)
    return found.kind === 'preview' ? previewPage(c, who, found.preview) : notSaved(c, who, asked, found)
  }

  function notSaved(
    c: Context,
    who: SignedIn,
    asked: ChangeAsked,
    found: Exclude<Looked, { kind: 'preview' }>,
  ): Promise<Response> {
    if (found.kind === 'stale' && found.preview !== undefined)
      return previewPage(c, who, found.preview, found.because, 409)
    return formPage(c, who, asked, found.because, found.kind === 'stale' ? 409 : 422)
  }

  gate.post('/on-call/change/:kind', 'change-on-call', async (c, who, fields) => {
    const kind = kindIn(c)
    if (kind === undefined) return answers.notice(c, 404, 'clinic-unknown')
    const asked: ChangeAsked = { kind, seen: fieldIn(fields, 'seen'), values: valuesIn(fields, kind) }
    if (fieldIn(fields, 'save') !== 'yes') return looked(c, who, asked)
    const saved = await ports.save(who, asked, fields.get('case') ?? [])
    return saved.kind === 'saved' ? answers.goTo(c, '/on-call?did=saved') : notSaved(c, who, asked, saved)
  })

  gate.post('/on-call/undo', 'change-on-call', async (c, who) => {
    const undone = await ports.undo(who)
    if (undone === 'done') return answers.goTo(c, '/on-call?did=undone')
    return onCall(c, who, wording(`on-call-undo-${undone}`), 409)
  })

  gate.post(
    '/on-call/test/:person',
    'test-call-out',
    async (c, who, fields) => {
      const told = await ports.test(who, c.req.param('person') ?? '', keyIn(fields, base.randomId()))
      if (told === undefined) return onCall(c, who, wording('on-call-test-nobody'), 409)
      return onCall(c, who, told)
    },
    c => ({ personId: c.req.param('person') ?? '' }),
  )
}

/** The fields of a change as they were filled in, each at most a line. */
function valuesIn(fields: Fields, kind: ChangeKind): Record<string, string> {
  return Object.fromEntries(FIELDS[kind].map(name => [name, fieldIn(fields, name).trim().slice(0, 200)]))
}
