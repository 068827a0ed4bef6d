import { join } from 'node:path'
import { loadClinic } from '../config/clinic-file.ts'
import { systemClock } from '../runtime/system-clock.ts'
import { type Carried, type Carrying, makeBackup, moveToRedis, restoreBackup } from './carrying.ts'
import { argumentsOf, CalledWrongly, type Command, complain, print } from './command.ts'
import { DEMO_CLINIC } from './load-line.ts'

interface Kind {
  readonly name: string
  readonly summary: string
  /** The option that names the other folder; left out where there is none. */
  readonly folder?: 'to' | 'from'
  readonly act: (carrying: Carrying, folder: string) => Promise<Carried>
  readonly done: (carried: Carried, folder: string) => readonly string[]
}

export const backupCommand = commandOf({
  name: 'backup',
  summary: 'copies cases, their keys and accounts into a folder, while the line runs',
  folder: 'to',
  act: makeBackup,
  done: ({ cases, chats }, folder) => [
    `${cases} cases of ${chats} chats are in ${folder}, and were read through.`,
    "The clinic's keys are not in it, and belong in no backup: save them apart.",
  ],
})

export const restoreCommand = commandOf({
  name: 'restore',
  summary: 'puts a backup into a new data folder, and into the Redis where the clinic file names one',
  folder: 'from',
  act: restoreBackup,
  done: ({ cases, chats }, folder) => [
    `${cases} cases of ${chats} chats are back from ${folder}.`,
    'Put back the clinic\'s keys (clinic-keys, signing-key), then run "smallhours ready".',
    'Ring every family that wrote after the backup was made.',
  ],
})

export const moveCommand = commandOf({
  name: 'move',
  summary: "carries the cases of a data folder into the clinic file's Redis, while the line stands",
  act: moveToRedis,
  done: ({ cases, chats, carried }) => [
    `${cases} cases of ${chats} chats are in Redis${carried === chats ? '' : `, ${chats - carried} of them from before`}.`,
    'The old file stays beside them as smallhours.sqlite.moved: remove it when a backup of Redis has been made.',
  ],
})

function commandOf({ name, summary, folder, act, done }: Kind): Command {
  const named = folder === undefined ? '' : ` --${folder} FOLDER`
  return {
    name,
    summary,
    usage: `smallhours ${name}${named} [--clinic FOLDER] [--data FOLDER] [--json]`,
    async run(args) {
      const { values } = argumentsOf(args, {
        clinic: { type: 'string', default: DEMO_CLINIC },
        data: { type: 'string', default: join(process.cwd(), '.smallhours') },
        json: { type: 'boolean', default: false },
        ...(folder === undefined ? {} : { [folder]: { type: 'string' as const } }),
      })
      const other = folder === undefined ? '' : ((values as Record<string, unknown>)[folder] as string | undefined)
      if (other === undefined) throw new CalledWrongly(`--${folder} FOLDER was expected`)
      const { clinic, store } = loadClinic(values.clinic, systemClock().now())
      if (clinic === undefined) {
        complain(`${values.clinic}: the clinic file cannot be used; "smallhours clinic" tells why`)
        return 1
      }
      const told = (carried: number, there: number, all: number) => {
        if (!values.json) print(`${carried + there} of ${all} chats`)
      }
      const carrying = { dataDir: values.data, store, isDemonstration: clinic.demonstration, told }
      const carried = await act(carrying, other)
      if (values.json) print(JSON.stringify(carried))
      else for (const line of done(carried, other)) print(line)
      return 0
    },
  }
}
