import { html } from 'hono/html'
import type { Html, Wording } from '../../channels/web-page.ts'

/** How a value is asked for, so that nobody types the form in which the clinic's file writes it. */
export type ValueField =
  /** One length or several, each a count with its unit. */
  | { readonly kind: 'lengths'; readonly lengths: readonly LengthFilled[]; readonly units: readonly LengthUnit[] }
  | { readonly kind: 'numbers'; readonly numbers: readonly string[]; readonly unit: string }
  | { readonly kind: 'choice'; readonly chosen: string; readonly choices: readonly ValueChoice[] }
  /** Hours of a day, two spans at most; none filled: closed. */
  | { readonly kind: 'spans'; readonly spans: readonly SpanFilled[] }

export interface ValueChoice {
  readonly value: string
  readonly label: string
}

export interface LengthFilled {
  readonly count: string
  readonly unit: string
}

export interface LengthUnit extends ValueChoice {
  /** As the file writes a length of this unit, with `#` for the count: `PT#M`. */
  readonly written: string
}

export interface SpanFilled {
  readonly from: string
  readonly until: string
}

/** Parts of a value, at most: the steps of paging have three, hours of a day two. */
const PARTS = [1, 2, 3] as const

/** Names of all fields a value can be asked for with. */
export const VALUE_FIELDS: readonly string[] = [
  'value',
  ...PARTS.flatMap(part => [`count-${part}`, `unit-${part}`, `number-${part}`, `from-${part}`, `until-${part}`]),
]

export function valueField(field: ValueField, wording: Wording): Html {
  switch (field.kind) {
    case 'choice':
      return html`<label for="value">${wording('on-call-field-value')}</label>${select('value', field.choices, field.chosen)}`
    case 'lengths':
      return html`${field.lengths.map(({ count, unit }, index) => {
        const label = partLabel(index, field.lengths.length, wording)
        return html`<fieldset class="value"><legend>${label}</legend><input type="number" id="count-${index + 1}" name="count-${index + 1}" min="1" max="9999" step="1" required value="${count}" aria-label="${label}">${select(`unit-${index + 1}`, field.units, unit, wording('value-unit'))}</fieldset>`
      })}`
    case 'numbers':
      return html`${field.numbers.map((number, index) => {
        const label = partLabel(index, field.numbers.length, wording)
        const name = `number-${index + 1}`
        return html`<label for="${name}">${label} (${field.unit})</label><input type="number" id="${name}" name="${name}" step="any" required value="${number}">`
      })}`
    case 'spans':
      return html`${field.spans.map((span, index) => {
        const name = (end: string) => `${end}-${index + 1}`
        const one = (end: 'from' | 'until') =>
          html`<label for="${name(end)}">${wording(`on-call-field-${end}`)}</label><input type="time" id="${name(end)}" name="${name(end)}" value="${span[end]}">`
        return html`<fieldset><legend>${wording(index === 0 ? 'value-open' : 'value-open-again')}</legend>${one('from')}${one('until')}</fieldset>`
      })}`
  }
}

function partLabel(index: number, count: number, wording: Wording): string {
  return count === 1 ? wording('on-call-field-value') : wording('value-part', { count: index + 1 })
}

function select(name: string, choices: readonly ValueChoice[], chosen: string, label?: string): Html {
  return html`<select id="${name}" name="${name}"${label === undefined ? '' : html` aria-label="${label}"`}>${choices.map(({ value, label: says }) => html`<option value="${value}"${value === chosen ? html` selected` : ''}>${says}</option>`)}</select>`
}

/**
 * The value that was filled in, as the clinic's file writes it: `PT10M`, `[5, 10]`, `08:00-12:00, 13:00-17:00`, `closed`. Empty
 * where a part is missing. A plain `value` stands as it is.
 *
 * @param units  of lengths: how the file writes each
 */
export function valueIn(fields: Readonly<Record<string, string>>, units: readonly LengthUnit[]): string {
  const parts = (name: string) => PARTS.map(part => fields[`${name}-${part}`]).filter(each => each !== undefined)
  const [counts, numbers, froms, untils] = [parts('count'), parts('number'), parts('from'), parts('until')]
  if (counts.length > 0) {
    const written = counts.map((count, index) => {
      const unit = units.find(({ value }) => value === fields[`unit-${index + 1}`])
      return unit === undefined || !/^\d{1,4}$/.test(count) ? '' : unit.written.replace('#', String(Number(count)))
    })
    return listWritten(written)
  }
  if (numbers.length > 0) return listWritten(numbers.map(each => each.replace(',', '.')))
  if (froms.length > 0) return spansWritten(froms.map((from, index) => ({ from, until: untils[index] ?? '' })))
  return fields.value ?? ''
}

function listWritten(items: readonly string[]): string {
  if (items.some(item => item === '')) return ''
  return items.length === 1 ? (items[0] ?? '') : `[${items.join(', ')}]`
}

function spansWritten(spans: readonly SpanFilled[]): string {
  const filled = spans.filter(({ from, until }) => from !== '' || until !== '')
  if (filled.some(({ from, until }) => from === '' || until === '')) return ''
  return filled.length === 0 ? 'closed' : filled.map(({ from, until }) => `${from}-${until}`).join(', ')
}
