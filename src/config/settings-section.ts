import { nearestId } from '../flow/problem.ts'
import { signOffShape } from './clinic-shapes.ts'
import type { PartReader } from './part-reader.ts'
import { isSettingId, type Settings, settingIds } from './setting-definitions.ts'
import { defaultSettings, secondSignOffReason, settingsWith } from './settings.ts'

interface SignOff {
  readonly setting: string
  readonly value: unknown
  readonly by: readonly string[]
}

/**
 * Reads `settings` over the shipped values, and `sign-offs`. A sign-off is for one value: when the value changes it no
 * longer counts. A value that needs two signatures and has not got them is a problem and is not used.
 */
export function readSettings(reader: PartReader, clinicians: ReadonlySet<string>): Settings {
  const written = Object.fromEntries(reader.keys(['settings']).map(id => [id, reader.valueAt(['settings', id])]))
  const { settings, faults } = settingsWith(defaultSettings, written)
  for (const { code, id, found, expected, nearest } of faults) {
    reader.report(['settings', id], code, found, expected, { nearest, key: code === 'UNKNOWN_SETTING' })
  }
  const signed = signOffsIn(reader, clinicians)
  const used: Record<string, unknown> = { ...settings }
  for (const id of settingIds) {
    const reason = secondSignOffReason(id, settings)
    if (reason === undefined || signed.some(one => one.setting === id && same(one.value, written[id]))) continue
    used[id] = defaultSettings[id]
    const expected = `two clinicians under sign-offs for this very value, since it is ${reason}`
    reader.report(
      ['settings', id],
      'SIGN_OFF_MISSING',
      `${JSON.stringify(written[id])} for ${id} without a second sign-off`,
      expected,
    )
  }
  return used as unknown as Settings
}

const same = (a: unknown, b: unknown) => JSON.stringify(a) === JSON.stringify(b)

function signOffsIn(reader: PartReader, clinicians: ReadonlySet<string>): readonly SignOff[] {
  const found: SignOff[] = []
  for (let index = 0; index < reader.count(['sign-offs']); index++) {
    const path = ['sign-offs', index]
    const read = reader.part(path, signOffShape)
    if (read === undefined) continue
    if (!isSettingId(read.setting)) {
      const nearest = nearestId(read.setting, settingIds)
      reader.report(
        [...path, 'setting'],
        'UNKNOWN_SETTING',
        `unknown setting "${read.setting}"`,
        'a setting that exists',
        { nearest },
      )
      continue
    }
    const strangers = read.by.filter(id => !clinicians.has(id))
    for (const id of strangers) {
      const place = [...path, 'by', read.by.indexOf(id)]
      reader.report(place, 'UNKNOWN_ID', `"${id}"`, 'a clinician who stands under people', {
        nearest: nearestId(id, clinicians),
      })
    }
    if (new Set(read.by).size < 2) {
      reader.report([...path, 'by'], 'SIGN_OFF_TWICE_ONE', `${JSON.stringify(read.by)}`, 'two different people')
    } else if (strangers.length === 0) found.push(read)
  }
  return found
}
