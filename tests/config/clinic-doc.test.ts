import { readFileSync } from 'node:fs'
import { fileURLToPath } from 'node:url'
import { expect, it } from 'vitest'
import { settingDefinitions, settingIds } from '../../src/config/setting-definitions.ts'

const page = readFileSync(fileURLToPath(new URL('../../docs/clinic/clinic-file.md', import.meta.url)), 'utf8')

it("the clerk's page has a row for each setting, with the value that is shipped, and no other", () => {
  const rows = [...page.matchAll(/^\| `([a-z0-9-]+)` \| `([^`]+)`/gm)].map(([, id, shipped]) => [id, shipped])
  const shown = (raw: unknown) => (Array.isArray(raw) ? `[${raw.join(', ')}]` : String(raw))
  expect(rows).toEqual(settingIds.map(id => [id, shown(settingDefinitions[id].shipped)]))
})
