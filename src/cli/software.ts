import { readFileSync } from 'node:fs'

const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as {
  readonly version: string
}

/** The version of this program, as it stands in what it writes for others. */
export const SOFTWARE = `smallhours ${version}`
