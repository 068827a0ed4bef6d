/** What a change brings, and why one is refused, in the language of the clinic's people. */
import type { Line } from '../case/line.ts'
import type { Wording } from '../channels/web-page.ts'
import type { Edited } from '../config/clinic-edits.ts'
import { type Definition, isSettingId, settingDefinitions } from '../config/setting-definitions.ts'
import { lengthWords, valueWords } from '../config/value-words.ts'
import { type Problem, problemText } from '../flow/problem.ts'
import type { ChangeAsked } from '../http/console/change-routes.ts'

interface Said {
  readonly line: Line
  readonly wording: Wording
}

/** Told from the cover itself, with its times. */
export const OF_COVER: ReadonlySet<string> = new Set(['ROTA_GAP', 'ROTA_OVERLAP', 'LADDER_EMPTY', 'LADDER_ONE_PERSON'])

/** What else a change of the pages can bring; each has its words, such as `brings-swap-back`. */
export const BRINGS = [
  'CHANGES_OVERLAP',
  'SWAP_BACK',
  'HOLIDAYS_RUN_OUT',
  'ROLE_UNUSED',
  'NUMBER_UNKNOWN_RANGE',
  'NUMBER_SHORT_UNKNOWN',
] as const
const WORDED: ReadonlySet<string> = new Set(BRINGS)

/** A finding of a kind that no page makes is told as the check writes it. */
export function bringsText({ code, found, expected }: Problem, wording: Wording): string {
  return WORDED.has(code) ? wording(`brings-${code.toLowerCase().replaceAll('_', '-')}`) : `${found}; ${expected}`
}

/** Why nothing is saved, and what was expected. */
export function refusalText(
  { kind, values }: ChangeAsked,
  { reason, problems, because }: Extract<Edited, { kind: 'refused' }>,
  said: Said,
): string {
  const { wording } = said
  const details =
    reason === 'cannot' ? [because] : problems.map(problem => detailText(problem, kind, values.id ?? '', said))
  return [wording(`refused-${reason}`), ...details].join(' ')
}

function detailText(problem: Problem, kind: string, id: string, { wording, line: { language } }: Said): string {
  if (kind === 'setting' && isSettingId(id)) {
    const definition: Definition = settingDefinitions[id]
    const { least, most } = definition
    if (problem.code === 'SETTING_OUT_OF_RANGE' && least !== undefined && most !== undefined) {
      const [from, until] = [least, most].map(bound =>
        typeof bound === 'string' ? lengthWords(bound, language) : valueWords(String(bound), definition, language),
      )
      return wording('refused-bounds', { from: from ?? '', until: until ?? '' })
    }
  }
  if (problem.code === 'NUMBER_REAL') return wording('refused-number-real')
  if (problem.code === 'NUMBER_FICTION') return wording('refused-number-fiction')
  if (problem.code.startsWith('NUMBER_')) return wording('refused-number')
  return problemText(problem).replace(/^\S+ /, '')
}
