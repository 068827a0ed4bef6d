import type { Context } from 'hono'
import type { Action } from '../../accounts/authority.ts'
import type { SignedIn } from '../../accounts/signed-in.ts'
import { type Fields, fieldIn } from '../gate.ts'
import {
  type ChangeForm,
  type ChangeKind,
  type ChangePreview,
  changeScreen,
  FIELDS,
  previewScreen,
  WITHOUT_FORM,
} from './change-page.ts'
import type { ConsoleSite } from './console.ts'
import { type LengthUnit, VALUE_FIELDS, valueIn } from './value-field.ts'

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

/** What a change of the clinic's file needs from the rest of the bot. */
export interface ChangePorts {
  /** Units of lengths that a form offers. */
  readonly units: readonly LengthUnit[]
  form(kind: ChangeKind, given: Readonly<Record<string, string>>): Promise<ChangeForm>
  look(asked: ChangeAsked): Promise<Looked>
  /** @param cases  open cases that page whoever is on call then, too */
  save(who: SignedIn, asked: ChangeAsked, cases: readonly string[]): Promise<Saved>
}

/** The way of a change: a form, one sentence to look at, saved. Each kind below a page, with the right it takes. */
export function changeRoutes(
  { base, gate, answers, show, frame }: ConsoleSite,
  ports: ChangePorts,
  { page, kinds }: { readonly page: string; readonly kinds: Partial<Record<ChangeKind, Action>> },
): void {
  const { wording } = base

  const formPage = async (
    c: Context,
    who: SignedIn,
    asked: Pick<ChangeAsked, 'kind' | 'values'>,
    note?: string,
    status = 200,
  ) => {
    const change = await ports.form(asked.kind, asked.values)
    return show(c, who, page, wording(`on-call-${asked.kind}`), changeScreen(change, page, frame(note)), { status })
  }
  const previewPage = (c: Context, who: SignedIn, preview: ChangePreview, note?: string, status = 200) =>
    show(c, who, page, wording('on-call-preview'), previewScreen(preview, page, frame(note)), { status })

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

  for (const [each, action] of Object.entries(kinds)) {
    const kind = each as ChangeKind
    gate.get(`${page}/change/${kind}`, action, async (c, who) => {
      const given = Object.fromEntries(FIELDS[kind].map(name => [name, c.req.query(name) ?? '']))
      const filled = Object.fromEntries(Object.entries(given).filter(([, value]) => value !== ''))
      if (!WITHOUT_FORM.has(kind)) return formPage(c, who, { kind, values: filled })
      const { seen } = await ports.form(kind, filled)
      return looked(c, who, { kind, seen, values: filled })
    })
    gate.post(`${page}/change/${kind}`, action, async (c, who, fields) => {
      const asked: ChangeAsked = { kind, seen: fieldIn(fields, 'seen'), values: valuesIn(fields, kind, ports.units) }
      if (fieldIn(fields, 'save') !== 'yes') return looked(c, who, asked)
      const saved = await ports.save(who, asked, fields.get('case') ?? [])
      return saved.kind === 'saved' ? answers.goTo(c, `${page}?did=saved`) : notSaved(c, who, asked, saved)
    })
  }
}

/** The fields of a change as they were filled in, each at most a line; a value in parts comes as one. */
function valuesIn(fields: Fields, kind: ChangeKind, units: readonly LengthUnit[]): Record<string, string> {
  const said = FIELDS[kind]
    .filter(name => fields.has(name))
    .map(name => [name, fieldIn(fields, name).trim().slice(0, 200)] as const)
  const values = Object.fromEntries(said)
  if (!FIELDS[kind].includes('value')) return values
  const whole = Object.fromEntries(said.filter(([name]) => !VALUE_FIELDS.includes(name)))
  return { ...whole, value: valueIn(values, units) }
}
